"""10,000 mutated drawings and models are read: what came of them, the slowest, and the memory that the process took.

Mutations for which something else than a refusal was raised are written to ``.venv/silhouettes``, to be kept in
`tests/silhouettes/corpus`.
"""

import logging
import resource
import time
from collections import Counter
from pathlib import Path

from tests.silhouettes.mutations import mutated, originals
from worker.silhouettes.errors import SilhouetteError
from worker.silhouettes.reading import SourceFile, read_files
from worker.spec.requests.silhouette import SilhouetteRequest

_MUTATIONS = 2_000
_FAILURES = Path(".venv/silhouettes")


def main() -> None:
    """Print the figures for each format."""
    logging.disable(logging.CRITICAL)
    request = SilhouetteRequest(unit="mm", repair=True)
    for kind, content in originals().items():
        outcomes, slowest = Counter(), 0.0
        for number in range(_MUTATIONS):
            data, start = mutated(content, number), time.perf_counter()
            try:
                read_files([SourceFile(kind, data)], request)
                outcomes["outline"] += 1
            except SilhouetteError as error:
                outcomes[error.reason] += 1
            except Exception as error:  # noqa: BLE001 - that is what is looked for
                outcomes[f"!{type(error).__name__}"] += 1
                _FAILURES.mkdir(exist_ok=True)
                (_FAILURES / f"{kind}-{number}.{kind}").write_bytes(data)
            slowest = max(slowest, time.perf_counter() - start)
        most = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024
        print(f"{kind}: {dict(outcomes.most_common())}; slowest {slowest:.2f} s; {most} MB so far")
