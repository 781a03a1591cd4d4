"""One file a command: options in, text, JSON and files out."""
