import gzip
import subprocess
import sys
import threading
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer

import pytest
from opentelemetry.proto.collector.trace.v1.trace_service_pb2 import ExportTraceServiceRequest
from opentelemetry.sdk.trace import TracerProvider
from opentelemetry.sdk.trace.export import SimpleSpanProcessor
from opentelemetry.sdk.trace.export.in_memory_span_exporter import InMemorySpanExporter

from worker.jobs.common.settings import Settings
from worker.jobs.job_service import JobService
from worker.jobs.observability.tracing import StepSpans, request_span, span, trace_headers, use_provider
from worker.jobs.processes.supervisor import Supervisor

_PARENT = "00-0af7651916cd43dd8448eb211c80319c-b7ad6b7169203331-01"  # the example of W3C Trace Context


@pytest.fixture
def spans():
    """Give what was traced so far, by name."""
    exporter, provider = InMemorySpanExporter(), TracerProvider()
    provider.add_span_processor(SimpleSpanProcessor(exporter))
    use_provider(provider)
    yield lambda: {
        span.name + span.attributes.get("drawerwright.step", ""): span for span in exporter.get_finished_spans()
    }
    use_provider(None)
    provider.shutdown()


def test_without_a_provider_nothing_is_traced_carried_or_imported():
    code = """
import sys
from worker.jobs.observability.tracing import set_up_tracing, span, trace_headers
from worker.jobs.common.settings import Settings
set_up_tracing(Settings.read(), "test")
with span("a"):
    assert trace_headers() == {}
print([name for name in sys.modules if name.startswith("opentelemetry")])
"""
    process = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert process.stdout.strip() == "[]"


def test_a_request_is_within_the_span_of_who_asks(spans):
    scope = {"method": "POST", "headers": [(b"traceparent", _PARENT.encode()), (b"host", b"drawers.test")]}
    with request_span(scope) as current:
        current.named("POST /v1/jobs", {"http.response.status_code": 202})
    made = spans()["POST /v1/jobs"]
    assert f"{made.context.trace_id:032x}" == _PARENT.split("-")[1]
    assert f"{made.parent.span_id:016x}" == _PARENT.split("-")[2]
    assert made.attributes["http.response.status_code"] == 202


def test_the_context_is_carried_to_another_process_and_taken_up_there(spans):
    with span("submit"):
        headers = trace_headers()
    with span("attempt", within={**headers, "other": "header"}):
        pass
    submit, attempt = spans()["submit"], spans()["attempt"]
    assert attempt.context.trace_id == submit.context.trace_id
    assert attempt.parent.span_id == submit.context.span_id
    with span("alone", within={}):
        pass
    assert spans()["alone"].parent is None


def test_steps_follow_one_another_within_the_attempt(spans):
    steps = StepSpans()
    with span("attempt"):
        for name in ("layout", "tile", "tile", None, "bundle"):
            steps.at(name)
        steps.close()
    made = spans()
    assert set(made) == {"attempt", "steplayout", "steptile", "stepbundle"}
    assert {made[span_name].parent.span_id for span_name in made if span_name != "attempt"} == {
        made["attempt"].context.span_id
    }
    assert made["steplayout"].end_time <= made["steptile"].start_time


class _Collector(ThreadingHTTPServer):
    """Takes spans as OTLP over HTTP."""

    def __init__(self):
        self.spans = []
        super().__init__(("127.0.0.1", 0), _Handler)
        threading.Thread(target=self.serve_forever, kwargs={"poll_interval": 0.01}, daemon=True).start()


class _Handler(BaseHTTPRequestHandler):
    def do_POST(self):
        body = self.rfile.read(int(self.headers["content-length"]))
        request = ExportTraceServiceRequest.FromString(_plain(body, self.headers.get("content-encoding")))
        for resource in request.resource_spans:
            for scope in resource.scope_spans:
                self.server.spans += scope.spans
        self.send_response(200)
        self.send_header("Content-Length", "0")
        self.end_headers()

    def log_message(self, *_):
        pass


def _plain(body, coding):
    return gzip.decompress(body) if coding == "gzip" else body


@pytest.mark.service
def test_a_job_is_one_trace_from_the_submission_to_the_workers_steps(spans, tmp_path, spec, ended, until):
    collector = _Collector()
    endpoint = f"http://127.0.0.1:{collector.server_address[1]}"
    settings = Settings.read(data_dir=tmp_path, otel_endpoint=endpoint, concurrency=1)
    with Supervisor(settings), JobService.open(settings) as job_service:
        job = ended(job_service, job_service.submit(spec()))
        assert job.state == "succeeded"
    # the worker's processes send what they have when they end
    until(lambda: any(span.name == "attempt" for span in collector.spans))
    collector.shutdown()
    collector.server_close()
    submit = spans()["submit"]
    ours = [span for span in collector.spans if span.trace_id.hex() == f"{submit.context.trace_id:032x}"]
    (attempt,) = [span for span in ours if span.name == "attempt"]
    assert attempt.parent_span_id.hex() == f"{submit.context.span_id:016x}"
    steps = [span for span in ours if span.name == "step"]
    assert {span.parent_span_id for span in steps} == {attempt.span_id}
    names = {span.attributes[0].value.string_value for span in steps}
    assert "bundle" in names
