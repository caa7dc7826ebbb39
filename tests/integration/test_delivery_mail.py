"""Messages reach a real SMTP server through the real Apprise.

Reply codes: RFC 5321, section 4.2.1 (4yz may pass by itself, 5yz is for good).
"""

from __future__ import annotations

import socket
from collections.abc import Iterator
from email import message_from_bytes, policy
from email.message import EmailMessage
from typing import Any

import pytest
from aiosmtpd.controller import Controller
from aiosmtpd.smtp import SMTP, AuthResult, Envelope, Session

from hivewatch.alerts.channels import AppriseChannel, open_channels
from hivewatch.alerts.ledger import Letter

LETTER = Letter(
    7,
    "",
    "9d8e3a9366a73278-1",
    "Hive millrace-1 at Mill race: toppled",
    "Hive millrace-1 has come off its scale — it lies.\nMind: a toppled hive is defensive.",
    "emergency",
    0,
    0,
)


class Postbox:
    """Keeps what comes; answers as it is told to."""

    def __init__(self) -> None:
        self.mails: list[EmailMessage] = []
        self.replies: list[str] = []
        self.refused: set[str] = set()

    async def handle_RCPT(  # noqa: N802 - the library's name
        self, _server: SMTP, _session: Session, envelope: Envelope, address: str, _options: Any
    ) -> str:
        if address in self.refused:
            return "550 no such mailbox"
        envelope.rcpt_tos.append(address)
        return "250 OK"

    async def handle_DATA(  # noqa: N802 - the library's name
        self, _server: SMTP, _session: Session, envelope: Envelope
    ) -> str:
        if self.replies:
            return self.replies.pop(0)
        content = envelope.content
        assert isinstance(content, bytes)
        mail = message_from_bytes(content, policy=policy.default)
        assert isinstance(mail, EmailMessage)
        self.mails.append(mail)
        return "250 OK"


def free_port() -> int:
    with socket.create_server(("127.0.0.1", 0)) as server:
        return int(server.getsockname()[1])


@pytest.fixture
def postbox() -> Postbox:
    return Postbox()


@pytest.fixture
def server(postbox: Postbox) -> Iterator[Controller]:
    controller = Controller(
        postbox, hostname="127.0.0.1", port=free_port(), server_hostname="mail.bees.example"
    )
    controller.start()
    yield controller
    controller.stop()


def mail_channel(port: int, login: str = "") -> AppriseChannel:
    """Open a channel of its own each time: Apprise pauses 5.5 s between two mails of one."""
    who = f"{login}127.0.0.1:{port}/keeper@bees.example"
    how = "smtp=127.0.0.1&from=watch@bees.example&mode=insecure&cto=2"
    (channel,) = open_channels([f"mailto://{who}?{how}"])
    return channel


def test_a_mail_arrives_with_its_words_and_its_conversation(server, postbox):
    channel = mail_channel(server.port)
    outcome = channel.send(LETTER)
    assert (outcome.state, outcome.reason) == ("sent", "sent")
    (mail,) = postbox.mails
    assert mail["Subject"] == LETTER.title
    assert mail["To"] == "keeper@bees.example"
    assert mail["References"] == "<9d8e3a9366a73278-1@hivewatch>"
    assert len(mail.get_all("Message-ID") or []) == 1
    body = mail.get_body(("plain", "html"))
    assert body is not None
    assert "Mind: a toppled hive is defensive." in body.get_content()
    assert "it lies" in body.get_content()


def test_a_repeat_stands_in_the_same_conversation_and_the_next_ring_in_another(server, postbox):
    again = Letter(7, "", "9d8e3a9366a73278-2", LETTER.title, LETTER.body, "emergency", 0, 0)
    for letter in (LETTER, LETTER, again):
        mail_channel(server.port).send(letter)
    first, second, third = (mail["References"] for mail in postbox.mails)
    assert first == second != third


def test_a_passing_reply_is_tried_again_and_a_lasting_one_is_not(server, postbox):
    postbox.replies = ["451 try later"]
    passing = mail_channel(server.port).send(LETTER)
    assert (passing.state, passing.reason) == ("waiting", "passing fault")
    assert "451" in passing.line
    postbox.replies = ["554 no thanks"]
    lasting = mail_channel(server.port).send(LETTER)
    assert (lasting.state, lasting.reason) == ("failed", "refused")
    assert "554" in lasting.line
    assert not postbox.mails
    assert mail_channel(server.port).send(LETTER).state == "sent"


def test_a_mailbox_that_does_not_exist_is_a_refusal(server, postbox):
    postbox.refused.add("keeper@bees.example")
    outcome = mail_channel(server.port).send(LETTER)
    assert (outcome.state, outcome.reason) == ("failed", "refused")
    assert "550" in outcome.line
    assert "keeper@" not in outcome.line


def test_a_wrong_password_is_a_refusal(postbox):
    def no_one(*_: object) -> AuthResult:
        return AuthResult(success=False, handled=False)

    controller = Controller(
        postbox,
        hostname="127.0.0.1",
        port=free_port(),
        authenticator=no_one,
        auth_require_tls=False,
        server_hostname="mail.bees.example",
    )
    controller.start()
    try:
        outcome = mail_channel(controller.port, "keeper:wrongpassword@").send(LETTER)
    finally:
        controller.stop()
    assert (outcome.state, outcome.reason) == ("failed", "refused")
    assert "535" in outcome.line
    assert "wrongpassword" not in outcome.line


def test_a_server_that_is_away_is_a_passing_fault():
    outcome = mail_channel(free_port()).send(LETTER)
    assert (outcome.state, outcome.reason) == ("waiting", "passing fault")
    assert "127.0.0.1" not in outcome.line
