"""A local web page for mapper, surveyor and manager: served to this computer only, from disk."""

from estate.app.web.serving import make_app, serve

__all__ = ["make_app", "serve"]
