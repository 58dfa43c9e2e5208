"""References to silhouettes, which only a service can follow."""

from worker.spec.errors import SpecError

__all__ = ["silhouette_unknown"]


def silhouette_unknown(silhouette_id: object) -> SpecError:
    """Return the error about a spec that still names a silhouette when it is validated."""
    return SpecError(
        "A silhouette is known only to the service that it was sent to.",
        value=silhouette_id, limit="a shape with its dimensions, where there is no service",
        remedy="Submit the spec to the service, or give the corners of the outline as a polygon.",
    )  # fmt: skip
