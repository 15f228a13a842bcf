"""The page: a web server that shows a folder's kits, plans and sessions, and takes what a paired device asks for."""
