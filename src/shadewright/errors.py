"""The one tree of errors that users meet: each message is a sentence saying where, what and what to do."""

from __future__ import annotations


class ShadewrightError(Exception):
    """Anything the user can mend; its text is one clear sentence. The command line turns it into exit code 2."""


class DocumentError(ShadewrightError):
    """A document cannot be read: names the file, the field, the value, what is allowed and what to do."""


class OpticsError(ShadewrightError):
    """A lens and camera that cannot exist or cannot be shaded, such as a field of 180 degrees or more."""


class FitError(ShadewrightError):
    """No hood meets the wishes; names the wish that stands in the way."""


class MakeError(ShadewrightError):
    """A solid, template or drawing cannot be made as asked, or failed its check."""


class ShowsError(MakeError):
    """What was to be made stands in the beam. The command line turns it into exit code 1."""


class FileError(ShadewrightError):
    """A file cannot be read or written; nothing half-written is left behind."""


class LightError(ShadewrightError):
    """A finish, scene or wish for light that cannot be worked out as given."""


class LightStopped(LightError):
    """A run for light was stopped by the user; says what was kept."""


class SearchError(ShadewrightError):
    """A search for trade-offs cannot run as asked: names the limit, journal or scheduler that stands in the way."""


class BenchError(ShadewrightError):
    """The bench cannot be opened as asked, such as at a port that is taken."""


class MeasureError(ShadewrightError):
    """Photographs, readings or a scan that cannot be measured as given; says what to shoot or read again."""
