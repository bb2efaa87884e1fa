"""The pages for the work around a diagnosis: a command of the command line becomes a form, and its answer a page."""
