"""The page: the whole job from a phone and a laptop, served on this machine."""
