"""The web face: routes, templates, static files and the server."""
