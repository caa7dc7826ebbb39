"""Every setting there is, with its default; frozen, so that no room can change another's."""

from __future__ import annotations

from datetime import time
from pathlib import Path
from typing import Annotated
from urllib.parse import urlsplit

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, SecretStr

from hivewatch.settings import fields
from hivewatch.settings.fields import Quiet

MQTT_PORT = 1883  # [port] published: IANA service names, "mqtt"
MQTTS_PORT = 8883  # [port] published: IANA service names, "secure-mqtt"


class Section(BaseModel):
    """What all sections share: frozen, strict, no unknown keys, no value in a pydantic message."""

    model_config = ConfigDict(
        frozen=True, extra="forbid", strict=True, hide_input_in_errors=True, validate_default=False
    )


class Store(Section):
    """Where everything is kept."""

    path: fields.FilePath = Field(
        default=Path("hivewatch.db"), description="the SQLite store; relative to the settings file"
    )


class Broker(Section):
    """The MQTT broker that the devices publish to."""

    url: fields.BrokerUrl = Field(
        default="mqtt://127.0.0.1:1883",
        description="mqtts:// for TLS; without a port 1883, with TLS 8883",
    )
    username: fields.Word | None = Field(
        default=None, description="when the broker asks for one", examples=["hivewatch"]
    )
    password: SecretStr | None = Field(
        default=None, description="only as HIVEWATCH_BROKER__PASSWORD"
    )
    password_file: fields.FilePath | None = Field(
        default=None,
        description="a file that holds the password alone",
        examples=["broker.password"],
    )
    ca_file: fields.FilePath | None = Field(
        default=None,
        description="certificates (PEM) to trust with mqtts://; else those of the system",
        examples=["ca.pem"],
    )
    topic_root: fields.TopicRoot = Field(
        default="hivewatch", description="devices publish to ROOT/DEVICE/senml"
    )
    client_id: fields.ClientId = Field(
        default="hivewatch",
        description="name of our session; two daemons on one broker need two of them",
    )

    @property
    def host(self) -> str:
        """The broker's name or address."""
        return urlsplit(self.url).hostname or ""

    @property
    def port(self) -> int:
        """The port of the URL, or the usual one of its scheme."""
        return urlsplit(self.url).port or (MQTTS_PORT if self.tls else MQTT_PORT)

    @property
    def tls(self) -> bool:
        """Whether the connection is encrypted."""
        return urlsplit(self.url).scheme == "mqtts"


class Api(Section):
    """Where the pages and the API are served."""

    host: fields.ListenHost = Field(
        default="127.0.0.1", description="this machine alone: 127.0.0.1, ::1 or localhost"
    )
    port: fields.Port = Field(default=8080, description="1 to 65535")
    public_url: fields.PublicUrl | None = Field(
        default=None,
        description="where your proxy, with TLS, shows the pages",
        examples=["https://hives.example.org"],
    )


class Alerts(Section):
    """Who is told, and when not."""

    channels: Annotated[tuple[SecretStr, ...], BeforeValidator(fields.as_tuple)] = Field(
        default=(), description="Apprise URLs without a secret; those of channels_file are added"
    )
    channels_file: fields.FilePath | None = Field(
        default=None,
        description="one Apprise URL a line, secrets and # remarks allowed",
        examples=["channels.secret"],
    )
    quiet: fields.QuietHours = Field(
        default=Quiet(time(22), time(6, 30)),
        description='yard\'s own time; emergencies ring anyway; "" for none',
    )
    silent_after_min: fields.Minutes = Field(
        default=180, description="minutes without a reading before a device is silent (own choice)"
    )
    low_battery_v: fields.Volts = Field(
        default=3.5,
        description="up to 6 V: one lithium cell (common practice, no source); 0 never",
    )
    low_lead_battery_v: fields.Volts = Field(
        default=11.8,
        description="above 6 V: 12 V lead battery (common practice, no source); 0 never",
    )
    low_battery_percent: fields.Percent = Field(
        default=20.0, description="devices that send %EL (common practice, no source); 0 never"
    )


class Mirror(Section):
    """An InfluxDB v2 write endpoint that every reading and finding is copied to."""

    url: fields.MirrorUrl = Field(
        description="base address, http:// or https://", examples=["http://127.0.0.1:8086"]
    )
    org: fields.Word = Field(description="organisation", examples=["bees"])
    bucket: fields.Word = Field(description="bucket", examples=["hivewatch"])
    token: SecretStr | None = Field(default=None, description="only as HIVEWATCH_MIRROR__TOKEN")
    token_file: fields.FilePath | None = Field(
        default=None, description="a file that holds the token alone", examples=["influx.token"]
    )


class Settings(Section):
    """All of it. Without a file and without an environment this is what runs."""

    store: Store = Store()
    broker: Broker = Broker()
    api: Api = Api()
    alerts: Alerts = Alerts()
    mirror: Mirror | None = None
