"""MQTT: tells a broker of hails, vitals, bands, contacts, and whether the watch stands."""

from .plugin import Mqtt
from .settings import MqttConfig

__all__ = ["Mqtt", "MqttConfig"]
