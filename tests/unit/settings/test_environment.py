"""Settings from variables: they go before the file, and a misspelt one is an error."""

from __future__ import annotations

from pathlib import Path

import pytest
from pydantic import SecretStr

from hivewatch.errors import SeveralErrors
from hivewatch.settings import Settings, load, sources


@pytest.fixture(autouse=True)
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(sources, "PLACES", (Path("hivewatch.toml"),))
    return tmp_path


def said_of(environ: dict[str, str]) -> list[str]:
    with pytest.raises(SeveralErrors) as caught:
        load(None, environ)
    return str(caught.value).split("\n")


EVERY_VARIABLE = {
    "HIVEWATCH_STORE__PATH": "/tmp/store.db",
    "HIVEWATCH_BROKER__URL": "mqtts://broker.example",
    "HIVEWATCH_BROKER__USERNAME": "yard",
    "HIVEWATCH_BROKER__PASSWORD": "swordfish",
    "HIVEWATCH_BROKER__CA_FILE": "ca.pem",
    "HIVEWATCH_BROKER__TOPIC_ROOT": "north/hivewatch",
    "HIVEWATCH_BROKER__CLIENT_ID": "hivewatch-2",
    "HIVEWATCH_API__HOST": "::1",
    "HIVEWATCH_API__PORT": "2000",
    "HIVEWATCH_API__PUBLIC_URL": "https://hives.example",
    "HIVEWATCH_ALERTS__CHANNELS": "json://127.0.0.1:9/",
    "HIVEWATCH_ALERTS__CHANNELS_FILE": "channels.secret",
    "HIVEWATCH_ALERTS__QUIET": "21:00-07:00",
    "HIVEWATCH_ALERTS__SILENT_AFTER_MIN": "60",
    "HIVEWATCH_ALERTS__LOW_BATTERY_V": "3.3",
    "HIVEWATCH_ALERTS__LOW_LEAD_BATTERY_V": "12",
    "HIVEWATCH_ALERTS__LOW_BATTERY_PERCENT": "10",
    "HIVEWATCH_MIRROR__URL": "https://mirror.example",
    "HIVEWATCH_MIRROR__ORG": "bees",
    "HIVEWATCH_MIRROR__BUCKET": "b",
    "HIVEWATCH_MIRROR__TOKEN": "swordfish",
}
SECRET_FILES = {"HIVEWATCH_BROKER__PASSWORD_FILE", "HIVEWATCH_MIRROR__TOKEN_FILE"}


def test_every_key_can_come_from_a_variable(here: Path) -> None:
    assert set(EVERY_VARIABLE) | SECRET_FILES == set(sources.VARIABLES)
    (here / "channels.secret").write_text("json://127.0.0.1:10/\n")
    settings = load(None, EVERY_VARIABLE)
    defaults = Settings()
    for variable in EVERY_VARIABLE:
        section, key = sources.VARIABLES[variable]
        given = getattr(getattr(settings, section), key)
        assert given is not None
        if section != "mirror":
            assert given != getattr(getattr(defaults, section), key), variable
    assert settings.api.port == 2000
    assert settings.alerts.low_lead_battery_v == 12.0
    assert settings.broker.ca_file == here / "ca.pem"


def test_a_secret_file_can_be_named_by_a_variable(here: Path) -> None:
    (here / "p").write_text("swordfish")
    settings = load(
        None, {"HIVEWATCH_BROKER__PASSWORD_FILE": "p", "HIVEWATCH_BROKER__USERNAME": "yard"}
    )
    assert settings.broker.password == SecretStr("swordfish")


def test_a_variable_goes_before_the_file(here: Path) -> None:
    (here / "hivewatch.toml").write_text('[api]\nport = 2000\n[broker]\ntopic_root = "file"\n')
    settings = load(None, {"HIVEWATCH_API__PORT": "3000"})
    assert (settings.api.port, settings.broker.topic_root) == (3000, "file")


def test_a_variable_mends_a_wrong_value_of_the_file(here: Path) -> None:
    (here / "hivewatch.toml").write_text("[api]\nport = 0\n")
    assert load(None, {"HIVEWATCH_API__PORT": "3000"}).api.port == 3000


@pytest.mark.parametrize(
    ("text", "urls"),
    [
        ("", []),
        ("json://127.0.0.1:9/", ["json://127.0.0.1:9/"]),
        (" json://u:p@127.0.0.1:9/?a=b,c  json://127.0.0.1:8/\n", None),
        ('["json://u:p@127.0.0.1:9/?a=b,c", "json://127.0.0.1:8/"]', None),
    ],
)
def test_a_list_is_json_or_its_items_with_spaces_between(text: str, urls: list[str] | None) -> None:
    expected = ["json://u:p@127.0.0.1:9/?a=b,c", "json://127.0.0.1:8/"] if urls is None else urls
    channels = load(None, {"HIVEWATCH_ALERTS__CHANNELS": text}).alerts.channels
    assert [channel.get_secret_value() for channel in channels] == expected


@pytest.mark.parametrize(
    ("variable", "remedy"),
    [
        ("HIVEWATCH_BROKER_URL", "did you mean HIVEWATCH_BROKER__URL?"),
        ("HIVEWATCH_BROKR__URL", "did you mean HIVEWATCH_BROKER__URL?"),
        ("hivewatch_broker__url", "did you mean HIVEWATCH_BROKER__URL?"),
        ("HIVEWATCH_BROKER__URL__X", "did you mean HIVEWATCH_BROKER__URL?"),
        ("HIVEWATCH_QUIET", "did you mean HIVEWATCH_ALERTS__QUIET?"),
        ("HIVEWATCH_PORT", "did you mean HIVEWATCH_API__PORT?"),
        (
            "HIVEWATCH_COLOUR",
            "the names are HIVEWATCH_SECTION__KEY; `hivewatch check --defaults` lists them",
        ),
        (
            "HIVEWATCH_",
            "the names are HIVEWATCH_SECTION__KEY; `hivewatch check --defaults` lists them",
        ),
    ],
)
def test_a_variable_that_matches_no_setting_is_an_error(variable: str, remedy: str) -> None:
    assert said_of({variable: "swordfish"}) == [
        f"environment: {variable}: no such setting; {remedy}"
    ]


def test_other_variables_are_none_of_our_business() -> None:
    assert load(None, {"HIVE": "x", "XHIVEWATCH_API__PORT": "x", "PATH": "/bin"}).api.port == 8080


def test_wrong_values_name_the_variable_and_are_told_at_once() -> None:
    assert said_of(
        {
            "HIVEWATCH_API__PORT": "80x",
            "HIVEWATCH_ALERTS__QUIET": "always",
            "HIVEWATCH_BROKER__URL": "mqt://x",
            "HIVEWATCH_BROKER__PASSWORD": "",
            "HIVEWATCH_ALERTS__CHANNELS": "swordfish://x",
            "HIVEWATCH_MIRROR__TOKEN": "swordfish",
        }
    ) == [
        "environment: HIVEWATCH_BROKER__PASSWORD: empty; unset it when there is none",
        (
            "environment: HIVEWATCH_ALERTS__CHANNELS, address 1: no service that Apprise knows; "
            "correct what stands before ://"
        ),
        "environment: HIVEWATCH_BROKER__PASSWORD: a password without a user; add [broker] username",
        'environment: HIVEWATCH_BROKER__URL = "mqt://x": unknown scheme; use mqtt:// or mqtts://',
        (
            'environment: HIVEWATCH_API__PORT = "80x": not a whole number; '
            "use a whole number from 1 to 65535"
        ),
        (
            'environment: HIVEWATCH_ALERTS__QUIET = "always": not two times of day; '
            'use "HH:MM-HH:MM", or "" for none'
        ),
        "environment: [mirror] url: missing; [mirror] cannot do without it",
        "environment: [mirror] org: missing; [mirror] cannot do without it",
        "environment: [mirror] bucket: missing; [mirror] cannot do without it",
    ]


def test_a_secret_from_file_and_variable_is_one_too_many(here: Path) -> None:
    (here / "p").write_text("swordfish")
    (here / "hivewatch.toml").write_text('[broker]\nusername = "yard"\npassword_file = "p"\n')
    assert said_of({"HIVEWATCH_BROKER__PASSWORD": "swordfish"}) == [
        (
            'hivewatch.toml: [broker] password_file = "p": '
            "HIVEWATCH_BROKER__PASSWORD gives the password already; keep one of the two"
        )
    ]
