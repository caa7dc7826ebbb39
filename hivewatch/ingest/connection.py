"""One connection to the broker: MQTT 5, or 3.1.1 where the broker knows no other."""

from __future__ import annotations

import ssl
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, NoReturn

from paho.mqtt.client import Client, ConnectFlags, MQTTMessage
from paho.mqtt.enums import CallbackAPIVersion, MQTTErrorCode, MQTTProtocolVersion
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties
from paho.mqtt.reasoncodes import ReasonCode

from hivewatch.errors import HivewatchError
from hivewatch.settings import Broker

SESSION_S = 60 * 60 * 24 * 30  # own choice: how long the broker keeps what waits for us
PACKET_BYTES = 1_100_000  # own choice: the largest pack that is decoded, and its topic
KEEP_ALIVE_S = 30  # own choice: a dead line is noticed within a minute
# Own choice: two batches. A broker that saves its file at every change is slow with what waits:
# with thousands of our acknowledgements before our ping, its answer would come too late, and every
# message again.
IN_FLIGHT = 1000
ANSWER_S = 10  # own choice: how long a broker may take for its answers
FIRST_ANSWER_S = 4  # own choice: an old broker may say nothing at all to version 5
REFUSED_PASSWORD = (134, 135)  # MQTT 5.0 section 3.2.2.2: bad user name or password, no right
UNKNOWN_VERSION = 132  # MQTT 5.0 section 3.2.2.2: unsupported protocol version


@dataclass(slots=True)
class _Said:
    """What the broker has said so far."""

    answer: ReasonCode | None = None
    granted: list[ReasonCode] | None = None
    session_kept: bool = False
    delivers: bool = False  # messages that waited come before the answer to the subscription


class Connection:
    """A client that is connected and subscribed, or an error that says why not."""

    def __init__(
        self,
        broker: Broker,
        on_message: Callable[[MQTTMessage], None],
        session_s: int = SESSION_S,
    ) -> None:
        """Connect, subscribe and wait for the broker's word.

        Parameters
        ----------
        on_message : Callable
            Called with each message, from whoever calls `client.loop_read`; must not raise.
        session_s : int
            How long the broker keeps our session while we are away; 0 for none. [s]

        Raises
        ------
        HivewatchError
            If the broker cannot be reached, refuses us, or the certificate does not hold.
        """
        self._broker, self._session_s = broker, session_s
        self._on_message = on_message
        self.protocol = MQTTProtocolVersion.MQTTv5
        self.client, said = self._open()
        if said.answer is None or said.answer.value == UNKNOWN_VERSION:
            # An old broker may close the line at the word "5" instead of refusing it.
            self.protocol = MQTTProtocolVersion.MQTTv311
            self.client, said = self._open()
        self._said = said
        self.check()
        self.session_kept = said.session_kept

    @property
    def where(self) -> str:
        """Name the broker as a message should."""
        return f"broker {self._broker.host}:{self._broker.port}"

    def close(self) -> None:
        """Say goodbye; the broker keeps the session."""
        self.client.disconnect()
        self.client.loop_misc()

    def _open(self) -> tuple[Client, _Said]:
        """Connect with one version of the protocol and wait for the answers."""
        said = _Said()
        client = self._client(said)
        options: dict[str, Any] = {}
        version5 = self.protocol == MQTTProtocolVersion.MQTTv5
        if version5:
            options = {
                "clean_start": not self._session_s,
                "properties": _connect_properties(self._session_s),
            }
        try:
            client.connect(self._broker.host, self._broker.port, KEEP_ALIVE_S, **options)
        except ssl.SSLError as error:
            self._fail(f"the certificate does not hold ({error.reason})", "check [broker] ca_file")
        except OSError as error:
            self._fail(f"cannot be reached ({error.strerror or error})", "check [broker] url")
        for second in range(ANSWER_S):
            if version5 and said.answer is None and second >= FIRST_ANSWER_S:
                break
            line_is_up = client.loop(timeout=1.0) == MQTTErrorCode.MQTT_ERR_SUCCESS
            if (
                said.granted is not None
                or said.delivers
                or not line_is_up
                or (said.answer and said.answer.is_failure)
            ):
                break
        if said.granted is None and not said.delivers:
            client.disconnect()
        return client, said

    def _client(self, said: _Said) -> Client:
        """Make a client with all that the settings say."""
        broker, version5 = self._broker, self.protocol == MQTTProtocolVersion.MQTTv5
        client = Client(
            CallbackAPIVersion.VERSION2,
            client_id=broker.client_id,
            clean_session=None if version5 else not self._session_s,
            protocol=self.protocol,
            manual_ack=True,
        )
        if broker.username is not None:
            secret = broker.password
            client.username_pw_set(
                broker.username, secret.get_secret_value() if secret is not None else None
            )
        if broker.tls:
            ca_file = str(broker.ca_file) if broker.ca_file is not None else None
            client.tls_set_context(ssl.create_default_context(cafile=ca_file))
        root = broker.topic_root

        def connected(
            _client: Client, _data: object, flags: ConnectFlags, answer: ReasonCode, _more: object
        ) -> None:
            said.answer, said.session_kept = answer, bool(flags.session_present)
            if not answer.is_failure:
                client.subscribe([(f"{root}/+/senml", 1), (f"{root}/+/status", 1)])

        def subscribed(
            _client: Client, _data: object, _mid: int, granted: list[ReasonCode], _more: object
        ) -> None:
            said.granted = granted

        def delivered(_client: Client, _data: object, message: MQTTMessage) -> None:
            said.delivers = True
            self._on_message(message)

        client.on_connect = connected
        client.on_subscribe = subscribed
        client.on_message = delivered
        return client

    def check(self) -> None:
        """Raise what the broker refused; of a subscription it may say so only after a while.

        Raises
        ------
        HivewatchError
            If it refused us or our subscription.
        """
        broker, said = self._broker, self._said
        if said.answer is None:
            self._fail("gave no answer", "is it an MQTT broker, and is TLS as in [broker] url?")
        if said.answer.is_failure:
            wrong = f"refused us ({str(said.answer).lower()})"
            if said.answer.value in REFUSED_PASSWORD and broker.username is not None:
                wrong = f'refused the password of "{broker.username}"'
            self._fail(wrong, "check [broker] username and password_file")
        if said.granted is None and not said.delivers:
            self._fail("closed the line when we subscribed", "check its access list")
        if any(one.is_failure for one in said.granted or ()):
            root = broker.topic_root
            self._fail(f"refused {root}/+/senml or {root}/+/status", "check its access list")

    def _fail(self, wrong: str, remedy: str) -> NoReturn:
        raise HivewatchError(self.where, "", wrong, remedy)


def _connect_properties(session_s: int) -> Properties:
    """Say how long to keep the session and how much may come at once."""
    properties = Properties(PacketTypes.CONNECT)  # type: ignore[no-untyped-call]
    properties.SessionExpiryInterval = session_s
    properties.ReceiveMaximum = IN_FLIGHT
    properties.MaximumPacketSize = PACKET_BYTES
    return properties
