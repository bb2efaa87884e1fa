"""The commands: one file each, and nothing in them but asking, calling and printing."""
