"""Reach: the room that fingers need to take things out."""

from typing import Final

__all__ = ["FINGER_BREADTH", "FINGER_GAP", "FINGER_REACH", "HAND_BREADTH", "LEAST_GRIP"]

#: Width in which a finger finds room: the 95th percentile of men's index finger breadth, 23, plus 2 (anthropometry,
#: index-breadth-m, finger-access-min: British adult hand tables).
FINGER_BREADTH: Final = 25.0

#: Free length beside a thing for a fingertip (anthropometry, finger-clearance: 12 to 15; trade value).
FINGER_GAP: Final = 15.0

#: How far a wall may rise over things that a finger reaches beside (own choice: the first two joints).
FINGER_REACH: Final = 25.0

#: What sticks out of its walls by this is taken between fingertips (own choice).
LEAST_GRIP: Final = 6.0

#: Width in which four fingers take hold of something soft (own choice; a man's hand without the thumb is about 85 to
#: 95 broad, from memory, and soft things give way beside it).
HAND_BREADTH: Final = 60.0
