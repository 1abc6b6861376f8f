"""Counters and gauges as OpenMetrics text. No label names a station, so the number of series stays small."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping

from ..shown import Status

CONTENT_TYPE = "application/openmetrics-text; version=1.0.0; charset=utf-8"
Sample = tuple[Mapping[str, str], float]


def exposition(status: Status, contacts: int, clients: int) -> str:
    """The metrics in the OpenMetrics text format 1.0."""
    intake, outbox = status.intake, status.outbox
    running = [(plugin, {"plugin": plugin.name}) for plugin in status.plugins]
    families = [
        _family("watchkeeper_datagrams_received", "counter", "Datagrams received.", [({}, intake.received)]),
        _family("watchkeeper_events_accepted", "counter", "Events accepted into the journal.", [({}, intake.accepted)]),
        _family(
            "watchkeeper_events_rejected",
            "counter",
            "Events refused, by reason.",
            [({"reason": reason}, number) for reason, number in sorted(intake.rejected.items())],
        ),
        _family("watchkeeper_events_lost", "counter", "Gaps in the senders' sequences.", [({}, intake.lost)]),
        _family("watchkeeper_datagrams_dropped", "counter", "Dropped by the system.", [({}, intake.kernel_drops or 0)]),
        _family("watchkeeper_hearings_shed", "counter", "Hearings dropped by overload.", [({}, intake.shed)]),
        _family("watchkeeper_contacts", "gauge", "Contacts of this session.", [({}, contacts)]),
        _family(
            "watchkeeper_outbox_waiting",
            "gauge",
            "Contacts that wait to be forwarded.",
            [({"destination": name}, box.waiting) for name, box in outbox.items()],
        ),
        _family(
            "watchkeeper_outbox_delivered",
            "counter",
            "Contacts forwarded.",
            [({"destination": name}, box.delivered) for name, box in outbox.items()],
        ),
        _family(
            "watchkeeper_outbox_dead",
            "gauge",
            "Contacts refused for good.",
            [({"destination": name}, box.dead) for name, box in outbox.items()],
        ),
        _family(
            "watchkeeper_plugin_calls",
            "counter",
            "Hook calls of a plugin.",
            [(label, plugin.calls) for plugin, label in running if plugin.calls is not None],
        ),
        _family(
            "watchkeeper_plugin_running",
            "gauge",
            "Whether a plugin runs.",
            [(label, float(plugin.state == "running")) for plugin, label in running],
        ),
        _family(
            "watchkeeper_config_reloads",
            "counter",
            "Times that the configuration was read again, by result.",
            [({"result": "done"}, status.reloads.done), ({"result": "refused"}, status.reloads.refused)],
        ),
        _family(
            "watchkeeper_config_in_force",
            "gauge",
            "Whether the configuration as it reads now is in force.",
            [({}, float(status.reloads.why is None))],
        ),
        _family("watchkeeper_event_stream_clients", "gauge", "Clients of the event stream.", [({}, clients)]),
    ]
    return "".join([*families, *_of_plugins(status)]) + "# EOF\n"


def _of_plugins(status: Status) -> Iterator[str]:
    """What plugins count themselves; of two that come to one name only the first stands."""
    seen: set[str] = set()
    for plugin in status.plugins:
        for figure, value in sorted(plugin.metrics.items()):
            name = f"watchkeeper_plugin_{plugin.name}_{figure.removesuffix('_total')}"
            if name not in seen:
                seen.add(name)
                kind = "counter" if figure.endswith("_total") else "gauge"
                yield _family(name, kind, f"Of the plugin {plugin.name}.", [({}, value)])


def _family(name: str, kind: str, words: str, samples: Iterable[Sample]) -> str:
    suffix = "_total" if kind == "counter" else ""
    lines = [f"# TYPE {name} {kind}", f"# HELP {name} {words}"]
    lines += [f"{name}{suffix}{_labels(labels)} {_number(value)}" for labels, value in samples]
    return "\n".join(lines) + "\n"


def _number(value: float) -> str:
    """In full: a counter of a million must not go up in steps of ten."""
    return str(int(value)) if value == int(value) else repr(value)


def _labels(labels: Mapping[str, str]) -> str:
    if not labels:
        return ""
    return "{" + ",".join(f'{name}="{_escaped(value)}"' for name, value in labels.items()) + "}"


def _escaped(value: str) -> str:
    return value.replace("\\", "\\\\").replace('"', '\\"').replace("\n", "\\n")
