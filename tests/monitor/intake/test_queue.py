"""The bounded queue: order kept, hearings shed first, contacts never."""

from __future__ import annotations

import asyncio
from datetime import UTC, datetime

from watchkeeper.intake.arrival import Arrival
from watchkeeper.intake.queue import IntakeQueue
from watchkeeper.schema.events import AnyEvent, Contact, Farewell, Heard

AT = datetime(2026, 5, 1, tzinfo=UTC)
HEARD = Heard(v=1, source="a", at=AT, mode="FT8", dial_hz=14_074_000, offset_hz=1.0, snr_db=-3.0, text="CQ DL5QRM")
OTHER = Farewell(v=1, source="a", at=AT)
CONTACT = Contact(
    v=1, source="a", at=AT, id="1", call="DL5QRM", started_at=AT, ended_at=AT, dial_hz=14_074_000, mode="FT8"
)


def arrivals(*events: AnyEvent) -> list[Arrival]:
    return [Arrival(event, None, n) for n, event in enumerate(events)]


async def test_first_in_first_out_in_batches() -> None:
    queue = IntakeQueue()
    queue.put_many(arrivals(HEARD, OTHER, CONTACT))
    assert [arrival.event for arrival in await queue.get_batch(2)] == [HEARD, OTHER]
    assert [arrival.event for arrival in await queue.get_batch(2)] == [CONTACT]


async def test_a_waiting_consumer_is_woken() -> None:
    queue = IntakeQueue()
    waiting = asyncio.create_task(queue.get_batch())
    await asyncio.sleep(0)
    queue.put_many(arrivals(HEARD))
    assert [arrival.event for arrival in await asyncio.wait_for(waiting, 1)] == [HEARD]


async def test_overload_sheds_hearings_first_then_the_rest_and_contacts_never() -> None:
    shed: list[AnyEvent] = []
    queue = IntakeQueue(limit=2, on_shed=lambda arrival: shed.append(arrival.event))
    queue.put_many(arrivals(HEARD, HEARD, HEARD, OTHER, OTHER, OTHER, CONTACT, CONTACT))
    assert [arrival.event for arrival in await queue.get_batch()] == [HEARD, HEARD, OTHER, OTHER, CONTACT, CONTACT]
    assert shed == [HEARD, OTHER]
    assert queue.shed == 2


async def test_close_lets_the_consumer_finish() -> None:
    queue = IntakeQueue()
    queue.put_many(arrivals(HEARD))
    queue.close()
    assert len(await queue.get_batch()) == 1
    assert await queue.get_batch() == []


async def test_close_wakes_a_waiting_consumer() -> None:
    queue = IntakeQueue()
    waiting = asyncio.create_task(queue.get_batch())
    await asyncio.sleep(0)
    queue.close()
    assert await asyncio.wait_for(waiting, 1) == []


async def test_a_cancelled_consumer_loses_nothing() -> None:
    queue = IntakeQueue()
    waiting = asyncio.create_task(queue.get_batch())
    await asyncio.sleep(0)
    queue.put_many(arrivals(HEARD))
    waiting.cancel()
    await asyncio.wait([waiting])
    assert len(await queue.get_batch()) == 1
