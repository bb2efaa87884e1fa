"""The page for the phone and the HTTP API beneath it (extra `serve`); nothing of it is on the way to one diagnosis."""
