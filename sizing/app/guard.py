"""Who may ask the server: whoever has the token that it was started with."""

import os
from typing import Any

from jupyter_server.auth.identity import IdentityProvider
from traitlets import Unicode, default

from sizing.files.places import TOKEN


class OneToken(IdentityProvider):
    """Lets in whoever has the token; no settings file can change or empty it."""

    #: Declared anew without being a setting: a settings file that names it is ignored.
    token: Any = Unicode()

    @default("token")
    def _token_default(self) -> str:
        # Taken out of the environment, so that no kernel inherits it.
        token = os.environ.pop(TOKEN, "")
        if not token:
            raise RuntimeError("no token was handed over")
        return token
