"""OpenTelemetry tracing; without an endpoint in the settings nothing of it is imported.

Requests, submissions, attempts and steps have spans. The trace context travels in the headers of the Celery message.
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

#: Maximum number of step spans per attempt: a job of many drawers has thousands of steps.
_MOST_STEPS: Final = 500

#: The headers of W3C Trace Context.
_HEADERS: Final = ("traceparent", "tracestate")


class _State:
    """The tracer provider of this process, None without tracing."""

    provider: Any = None


class TraceSpan:
    """A span, or a no-op without tracing."""

    def __init__(self, inner: Any = None) -> None:
        """Wrap an SDK span; None makes a no-op."""
        self._inner = inner

    def named(self, name: str, facts: Mapping[str, str | int | float]) -> None:
        """Set the span's name and attributes, for a span that starts before they are available."""
        if self._inner is not None:
            self._inner.update_name(name)
            self._inner.set_attributes(dict(facts))


def set_up_tracing(settings: Settings, role: str) -> None:
    """Export spans to the endpoint in the settings, if any."""
    if not settings.otel_endpoint:
        return
    if find_spec("opentelemetry.sdk") is None or find_spec("opentelemetry.exporter.otlp.proto.http") is None:
        _log.warning('Tracing is disabled: install "drawerwright[telemetry]".')
        return
    from opentelemetry.exporter.otlp.proto.http.trace_exporter import (  # noqa: PLC0415 - only with tracing
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
    """Use this tracer provider of the SDK; None disables tracing."""
    _State.provider = provider


def end_tracing() -> None:
    """Export the remaining spans and disable tracing."""
    provider, _State.provider = _State.provider, None
    if provider is not None:
        provider.shutdown()


@contextmanager
def span(
    name: str, facts: Mapping[str, str | int | float] | None = None, *, within: Mapping[str, str] | None = None
) -> Iterator[TraceSpan]:
    """Trace the block as a span.

    Args:
        name: name of the span.
        facts: attributes of the span.
        within: headers with the trace context of the parent.
    """
    if _State.provider is None:
        yield TraceSpan()
        return
    from opentelemetry.trace.propagation.tracecontext import (  # noqa: PLC0415 - only with tracing
        TraceContextTextMapPropagator,
    )

    context = None if within is None else TraceContextTextMapPropagator().extract(dict(within))
    tracer = _State.provider.get_tracer("drawerwright")
    with tracer.start_as_current_span(name, context=context, attributes=dict(facts or {})) as inner:
        yield TraceSpan(inner)


@contextmanager
def request_span(scope: MutableMapping[str, Any]) -> Iterator[TraceSpan]:
    """Trace an ASGI request as a child of the client's span, if its headers name one."""
    if _State.provider is None:
        yield TraceSpan()
        return
    names = {name.encode() for name in _HEADERS}
    within = {name.decode(): value.decode("latin-1") for name, value in scope["headers"] if name in names}
    with span("request", {"http.request.method": scope["method"]}, within=within) as made:
        yield made


def trace_headers() -> dict[str, str]:
    """Return the headers that carry the current trace context; empty without tracing."""
    if _State.provider is None:
        return {}
    from opentelemetry.trace.propagation.tracecontext import (  # noqa: PLC0415 - only with tracing
        TraceContextTextMapPropagator,
    )

    headers: dict[str, str] = {}
    TraceContextTextMapPropagator().inject(headers)
    return headers


class StepSpans:
    """Consecutive spans for the steps of one attempt."""

    def __init__(self) -> None:
        """Start without an open span."""
        self._open: Callable[[], object] | None = None
        self._left = _MOST_STEPS
        self._name: str | None = None

    def at(self, name: str | None) -> None:
        """End the current step's span and start one for this step, if it differs."""
        if _State.provider is None or name == self._name:
            return
        self.close()
        self._name = name
        if name is not None and self._left:
            self._left -= 1
            tracer = _State.provider.get_tracer("drawerwright")
            self._open = tracer.start_span("step", attributes={"drawerwright.step": name}).end

    def close(self) -> None:
        """End the current step's span."""
        if self._open is not None:
            self._open()
        self._open = None
