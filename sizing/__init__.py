"""Study kit for sling sizes: whom a chart fits, who falls between, what to stock."""
