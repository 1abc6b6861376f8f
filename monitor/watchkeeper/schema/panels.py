"""Which panel needs which events, and what it shows without them: the page's matrix, and the panels' own hints."""

from __future__ import annotations

from typing import NamedTuple


class Panel(NamedTuple):
    """One panel: the kinds without which it stays empty, what others add, and what is left without those.

    Where several are needed, any one of them will do.
    """

    name: str
    needs: tuple[str, ...]
    adds: dict[str, str]
    without: str


PANELS: tuple[Panel, ...] = (
    Panel(
        "Lookout",
        ("heard",),
        {
            "station": "who calls you; distance, direction and chance with your power",
            "tuning": "which stations can hear you in your parity",
            "period": "the list is out at the marker, not after 200 ms of silence",
            "sent": "which parity you are deaf in",
            "contact": "worked stations drop out at once",
            "reception": "the chance, from those who did hear you",
        },
        "lookouts and the worked check against the imported log, call and locator from the configuration",
    ),
    Panel(
        "On the air",
        ("heard",),
        {
            "station": "who answers you",
            "tuning": "whom you are calling",
            "period": "stations that fell silent, told from periods not listened to",
            "sent": "what your exchange still lacks",
            "contact": "your exchange is closed",
        },
        "every station, what it does and with whom",
    ),
    Panel(
        "Openings",
        ("heard",),
        {
            "station": "directions and distances from where you are",
            "tuning": "that a band was listened to before anything was heard",
            "period": "rates per period listened to, empty ones included; busy but undecoded bands",
            "sent": "periods in which you could not listen",
        },
        "stations, strength and farthest by band and direction; rates count periods with hearings alone",
    ),
    Panel(
        "Reach",
        ("heard", "reception"),
        {
            "station": "distance and direction; which reports are yours",
            "sent": "when and with what power you could be heard",
            "contact": "reports from finished contacts",
        },
        "with heard alone, the reports that stations send you; with reception alone, who heard you and how well",
    ),
    Panel(
        "Vitals",
        ("gauge", "period", "heard"),
        {
            "tuning": "a passband that is too narrow",
            "sent": "readings sorted by sending and receiving; duty of the transmitter",
            "farewell": "a source that stopped, told from one that died",
        },
        "with heard alone the clock error (from late_s), with period the audio, with gauge the transmitter and supply",
    ),
    Panel(
        "Log",
        ("contact",),
        {
            "station": "own call, locator, power and references of each contact",
            "heard": "missing locators and reports; contacts that look complete and were not announced",
            "sent": "contacts that look complete and were not announced",
        },
        "what is imported, and what a followed ADIF file brings",
    ),
)
