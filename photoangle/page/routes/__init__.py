"""The page's addresses, a file a part of the way."""
