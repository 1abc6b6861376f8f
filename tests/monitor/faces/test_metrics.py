"""Counters and gauges as OpenMetrics text (OpenMetrics 1.0), those of plugins among them."""

from __future__ import annotations

from watchkeeper.faces.page.metrics import exposition
from watchkeeper.faces.shown import to_status


def test_counters_are_written_in_full() -> None:
    status = to_status({"intake": {"received": 12_345_678, "accepted": 1, "kernel_drops": 7}})
    lines = exposition(status, contacts=0, clients=0).splitlines()
    assert "watchkeeper_datagrams_received_total 12345678" in lines
    assert "watchkeeper_datagrams_dropped_total 7" in lines


def test_what_plugins_count_is_there_by_its_kind() -> None:
    told = {
        "plugins": [
            {"name": "mqtt", "state": "running", "metrics": {"connections_total": 2, "connected": 1.0, "lag_s": 0.25}},
            {"name": "mqtt_lag", "state": "running", "metrics": {"s": 9}},
        ]
    }
    lines = exposition(to_status(told), contacts=0, clients=0).splitlines()
    assert "# TYPE watchkeeper_plugin_mqtt_connections counter" in lines
    assert "watchkeeper_plugin_mqtt_connections_total 2" in lines
    assert "# TYPE watchkeeper_plugin_mqtt_connected gauge" in lines
    assert "watchkeeper_plugin_mqtt_connected 1" in lines
    assert "watchkeeper_plugin_mqtt_lag_s 0.25" in lines
    assert lines.count("# TYPE watchkeeper_plugin_mqtt_lag_s gauge") == 1, "a family stands once"
