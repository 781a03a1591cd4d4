"""The page: the whole job from a phone and a laptop.  Served on this machine; nothing from any network."""
