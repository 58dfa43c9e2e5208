"""The tables of the database, a module for each part of the service; all of them are known once this is imported."""

from worker.jobs.database.tables.access import ApiKeyRow, DailyUsageRow, IdempotencyRow
from worker.jobs.database.tables.base import Base, UtcDateTime
from worker.jobs.database.tables.batches import BatchEntryRow, BatchFileRow, BatchRow, BatchWebhookRow
from worker.jobs.database.tables.household import (
    DrawerRow,
    PieceRow,
    ThingPlaceRow,
    ThingRow,
    ThingWordRow,
    WordTrigramRow,
)
from worker.jobs.database.tables.jobs import (
    CalendarLinkRow,
    JobFileRow,
    JobRow,
    JobWebhookRow,
    PrintEventRow,
    PrintStateRow,
)
from worker.jobs.database.tables.leases import HeartbeatRow, LeaderLeaseRow
from worker.jobs.database.tables.parts import PartLockRow, PartRow
from worker.jobs.database.tables.silhouettes import SilhouetteFileRow, SilhouetteRow
from worker.jobs.database.tables.webhooks import DeliveryRow, OutboxRow, WebhookRow

__all__ = [
    "ApiKeyRow",
    "Base",
    "BatchEntryRow",
    "BatchFileRow",
    "BatchRow",
    "BatchWebhookRow",
    "CalendarLinkRow",
    "DailyUsageRow",
    "DeliveryRow",
    "DrawerRow",
    "HeartbeatRow",
    "IdempotencyRow",
    "JobFileRow",
    "JobRow",
    "JobWebhookRow",
    "LeaderLeaseRow",
    "OutboxRow",
    "PartLockRow",
    "PartRow",
    "PieceRow",
    "PrintEventRow",
    "PrintStateRow",
    "SilhouetteFileRow",
    "SilhouetteRow",
    "ThingPlaceRow",
    "ThingRow",
    "ThingWordRow",
    "UtcDateTime",
    "WebhookRow",
    "WordTrigramRow",
]
