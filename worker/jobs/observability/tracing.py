"""Tracing with OpenTelemetry, where its packages are there and an endpoint is set; else nothing is even imported.

A span for each request, submission, attempt and step. The context travels in the headers of the task's message.
"""

import logging
from collections.abc import Callable, Iterator, Mapping, MutableMapping
from contextlib import contextmanager
from importlib.util import find_spec
from typing import Any, Final

from worker.jobs.common.settings import Settings

__all__ = [
    "StepSpans",
    "TraceSpan",
    "end_tracing",
    "request_span",
    "set_up_tracing",
    "span",
    "trace_headers",
    "use_provider",
]

_log = logging.getLogger(__name__)

#: Most spans of steps in one attempt: a job of many drawers has thousands.
_MOST_STEPS: Final = 500

#: The header of W3C Trace Context that a message carries, and the one beside it.
_HEADERS: Final = ("traceparent", "tracestate")


class _State:
    """The provider of this process's spans, if there is one."""

    provider: Any = None


class TraceSpan:
    """A span that may be none."""

    def __init__(self, inner: Any = None) -> None:
        """Wrap it."""
        self._inner = inner

    def named(self, name: str, facts: Mapping[str, str | int | float]) -> None:
        """Give it its name and facts, when they are known only late."""
        if self._inner is not None:
            self._inner.update_name(name)
            self._inner.set_attributes(dict(facts))


def set_up_tracing(settings: Settings, role: str) -> None:
    """Send spans to the endpoint of the settings, if there is one."""
    if not settings.otel_endpoint:
        return
    if find_spec("opentelemetry.sdk") is None or find_spec("opentelemetry.exporter.otlp.proto.http") is None:
        _log.warning('No spans are sent: install "drawerwright[telemetry]".')
        return
    from opentelemetry.exporter.otlp.proto.http.trace_exporter import (  # noqa: PLC0415 - only where it is asked for
        OTLPSpanExporter,
    )
    from opentelemetry.sdk.resources import Resource  # noqa: PLC0415 - as above
    from opentelemetry.sdk.trace import TracerProvider  # noqa: PLC0415 - as above
    from opentelemetry.sdk.trace.export import BatchSpanProcessor  # noqa: PLC0415 - as above

    provider = TracerProvider(resource=Resource.create({"service.name": f"drawerwright-{role}"}))
    address = f"{settings.otel_endpoint.rstrip('/')}/v1/traces"
    provider.add_span_processor(BatchSpanProcessor(OTLPSpanExporter(endpoint=address)))
    use_provider(provider)


def use_provider(provider: Any) -> None:
    """Make spans with this provider of the SDK; None ends it."""
    _State.provider = provider


def end_tracing() -> None:
    """Send what is still to be sent."""
    provider, _State.provider = _State.provider, None
    if provider is not None:
        provider.shutdown()


@contextmanager
def span(
    name: str, facts: Mapping[str, str | int | float] | None = None, *, within: Mapping[str, str] | None = None
) -> Iterator[TraceSpan]:
    """Make a span of what is done meanwhile.

    Args:
        name: what is done.
        facts: its attributes.
        within: headers that carry the context of the one who asked.
    """
    if _State.provider is None:
        yield TraceSpan()
        return
    from opentelemetry.trace.propagation.tracecontext import (  # noqa: PLC0415 - only where it is asked for
        TraceContextTextMapPropagator,
    )

    context = None if within is None else TraceContextTextMapPropagator().extract(dict(within))
    tracer = _State.provider.get_tracer("drawerwright")
    with tracer.start_as_current_span(name, context=context, attributes=dict(facts or {})) as inner:
        yield TraceSpan(inner)


@contextmanager
def request_span(scope: MutableMapping[str, Any]) -> Iterator[TraceSpan]:
    """Make a span of a request (ASGI), within that of whoever asks."""
    if _State.provider is None:
        yield TraceSpan()
        return
    names = {name.encode() for name in _HEADERS}
    within = {name.decode(): value.decode("latin-1") for name, value in scope["headers"] if name in names}
    with span("request", {"http.request.method": scope["method"]}, within=within) as made:
        yield made


def trace_headers() -> dict[str, str]:
    """Return the headers that carry the present context; none where nothing is traced."""
    if _State.provider is None:
        return {}
    from opentelemetry.trace.propagation.tracecontext import (  # noqa: PLC0415 - only where it is asked for
        TraceContextTextMapPropagator,
    )

    headers: dict[str, str] = {}
    TraceContextTextMapPropagator().inject(headers)
    return headers


class StepSpans:
    """Spans of the steps of an attempt, one after the other."""

    def __init__(self) -> None:
        """Begin with none."""
        self._open: Callable[[], object] | None = None
        self._left = _MOST_STEPS
        self._name: str | None = None

    def at(self, name: str | None) -> None:
        """End the step before, and begin this one, if it is another."""
        if _State.provider is None or name == self._name:
            return
        self.close()
        self._name = name
        if name is not None and self._left:
            self._left -= 1
            tracer = _State.provider.get_tracer("drawerwright")
            self._open = tracer.start_span("step", attributes={"drawerwright.step": name}).end

    def close(self) -> None:
        """End the step."""
        if self._open is not None:
            self._open()
        self._open = None
