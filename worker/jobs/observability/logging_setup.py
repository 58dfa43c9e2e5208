"""Logging as plain text or JSON lines, each with the job, key and request of its context.

Secrets are redacted from the finished line, whatever logger wrote it.
"""

import logging
import re
from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from datetime import UTC, datetime
from typing import IO, Any, Final

import orjson

from worker.jobs.common.settings import Settings

__all__ = ["LOG_FIELDS", "JsonFormatter", "TextFormatter", "log_context", "redact", "set_up_logging"]

_ABOUT: Final[ContextVar[dict[str, str]]] = ContextVar("log_context")

#: The attribute with the fields of one log call: ``extra={LOG_FIELDS: {"status": 200}}``.
LOG_FIELDS: Final = "fact"

#: Loggers whose level is INFO; all others log from WARNING.
_OURS: Final = ("api", "worker", "uvicorn.error")

_SECRETS: Final = (
    (re.compile(r"dw_([0-9a-z]{10})_[0-9a-z]{40}"), r"dw_\1_***"),
    (re.compile(r"whsec_[A-Za-z0-9+/=_-]+"), "whsec_***"),
    (re.compile(r"(?i)\b(bearer|basic) +[^\s\"']+"), r"\1 ***"),
    (re.compile(r"://[^/\s\"'@]+@"), "://***@"),
)


@contextmanager
def log_context(**facts: str | None) -> Iterator[None]:
    """Add these fields (``job``, ``key``, ``request``) to all lines logged inside the context."""
    present = {name: value for name, value in facts.items() if value is not None}
    token = _ABOUT.set({**_ABOUT.get({}), **present})
    try:
        yield
    finally:
        _ABOUT.reset(token)


def redact(text: str) -> str:
    """Return the text with API keys, webhook secrets, authorization headers and passwords replaced by ``***``."""
    for form, instead in _SECRETS:
        text = form.sub(instead, text)
    return text


class TextFormatter(logging.Formatter):
    """Plain-text lines: time, level, logger, message, and the context in brackets."""

    def format(self, record: logging.LogRecord) -> str:
        """Return the line, followed by any traceback."""
        facts = " ".join(f"{name}={value}" for name, value in _facts(record).items())
        message = record.getMessage().replace("\r", "\\r").replace("\n", "\\n")
        line = f"{_moment(record)} {record.levelname} {record.name}: {message}" + (f" [{facts}]" if facts else "")
        trace = _trace(self, record)
        return redact(line if trace is None else f"{line}\n{trace}")


class JsonFormatter(logging.Formatter):
    """One JSON object per line: time, level, logger, message, and the context."""

    def format(self, record: logging.LogRecord) -> str:
        """Return the line, with any traceback as a field."""
        entry: dict[str, Any] = {
            "time": _moment(record),
            "level": record.levelname.lower(),
            "logger": record.name,
            "message": record.getMessage(),
            **_facts(record),
        }
        trace = _trace(self, record)
        if trace is not None:
            entry["trace"] = trace
        return redact(orjson.dumps(entry, default=str).decode())


def set_up_logging(settings: Settings, stream: IO[str] | None = None) -> None:
    """Log in the format of the settings, to ``stream`` or standard error."""
    handler = logging.StreamHandler(stream)
    handler.setFormatter(JsonFormatter() if settings.log_format == "json" else TextFormatter())
    root = logging.getLogger()
    for old in list(root.handlers):
        root.removeHandler(old)
    root.addHandler(handler)
    root.setLevel(logging.WARNING)
    for name in _OURS:
        logging.getLogger(name).setLevel(logging.INFO)


def _facts(record: logging.LogRecord) -> dict[str, Any]:
    own = getattr(record, LOG_FIELDS, None)
    return {**_ABOUT.get({}), **(own if isinstance(own, dict) else {})}


def _moment(record: logging.LogRecord) -> str:
    return datetime.fromtimestamp(record.created, UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")


def _trace(formatter: logging.Formatter, record: logging.LogRecord) -> str | None:
    trace = formatter.formatException(record.exc_info) if record.exc_info and record.exc_info[0] else None
    stack = formatter.formatStack(record.stack_info) if record.stack_info else None
    return "\n".join(text for text in (trace, stack) if text) or None
