"""Two daemons never work with one store."""

from __future__ import annotations

import os
import subprocess
import sys

import pytest

from hivewatch.errors import UsageError
from hivewatch.store.alone import hold_alone

HOLD = """
import sys, time
from pathlib import Path
from hivewatch.store.alone import hold_alone
held = hold_alone(Path(sys.argv[1]))
print("held", flush=True)
time.sleep(60)
"""


def test_a_second_daemon_is_refused_until_the_first_is_gone(tmp_path):
    store = tmp_path / "store.db"
    first = hold_alone(store)
    with pytest.raises(UsageError, match=r"store\.db: another hivewatch run .*; stop that one"):
        hold_alone(store)
    first.close()
    hold_alone(store).close()


def test_a_daemon_that_was_killed_leaves_the_store_free(tmp_path):
    store = tmp_path / "store.db"
    with subprocess.Popen(
        [sys.executable, "-c", HOLD, str(store)], stdout=subprocess.PIPE, text=True
    ) as other:
        assert other.stdout is not None
        assert other.stdout.readline() == "held\n"
        with pytest.raises(UsageError, match="stop that one first"):
            hold_alone(store)
        other.kill()
        other.wait()
    hold_alone(store).close()


@pytest.mark.skipif(os.geteuid() == 0, reason="root may write anywhere")
def test_a_folder_that_lets_nobody_write_is_said(tmp_path):
    tmp_path.chmod(0o500)
    with pytest.raises(UsageError, match="cannot be written"):
        hold_alone(tmp_path / "store.db")
