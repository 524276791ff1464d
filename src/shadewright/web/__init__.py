"""The bench: a page in the browser and an HTTP API, over the same functions as the command line."""
