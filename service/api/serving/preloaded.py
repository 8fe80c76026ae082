"""Imported by the process that others are forked from: what they share is loaded and warm, before there are any."""

from __future__ import annotations

import signal


def _load() -> None:
    from service.api.serving.worker import warm_application  # which takes longest
    from service.api.settings import Settings

    warm_application(Settings.from_environment())


# Ctrl+C and the end of a service are told to every process of a group, and are for the one that serves; the others
# finish what they are at, and end when it does.
signal.signal(signal.SIGINT, signal.SIG_IGN)
signal.signal(signal.SIGTERM, signal.SIG_IGN)
_load()
