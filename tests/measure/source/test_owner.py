"""Who has the card: real processes, a folder that is nobody else's, and locks that go with who held them."""

import os
import subprocess
import sys

import pytest

from measure.errors import CardHeldError, DeviceError
from measure.source import owner
from measure.source.owner import hold_while_playing, lock_folder, one_owner
from tests.places import TOP

CLAIM = (
    "import sys; from measure.source.owner import one_owner\n"
    "with one_owner() as claims:\n    claims.claim(*sys.argv[1:3])\n    print('mine', flush=True)\n    sys.stdin.read()\n"
)


@pytest.fixture
def other():
    """Have another process claim an output and an input."""
    started = []

    def claim(output, input_):
        words = [sys.executable, "-c", CLAIM, output, input_]
        started.append(subprocess.Popen(words, cwd=TOP, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True))
        assert started[-1].stdout.readline() == "mine\n"
        return started[-1]

    yield claim
    for process in started:
        process.kill()
        process.wait()
        for pipe in (process.stdin, process.stdout):
            pipe.close()


def claimed(output, input_):
    with one_owner() as claims:
        claims.claim(output, input_)


def test_a_card_has_one_owner_who_is_named_and_after_a_kill_it_is_free(other):
    first = other("Card", "Card")
    with pytest.raises(CardHeldError, match=rf"process {first.pid} \(python Card Card\) has the sound card card: wait") as caught:
        claimed("card", "other")  # a device has one name in any case
    assert caught.value.exit_code == 4
    with pytest.raises(CardHeldError):
        claimed("other", "CARD")
    claimed("other", "another")
    first.kill()
    first.wait()
    claimed("Card", "Card")


def test_between_two_recordings_of_a_command_nobody_gets_it(other):
    with one_owner():
        claimed("card", "card")
        claimed("card", "card")
        with pytest.raises(CardHeldError, match=rf"process {os.getpid()} "):
            owner.Claims().claim("card", "card")
    other("card", "card")


def test_the_same_name_on_another_server_is_another_device(other, monkeypatch):
    other("card", "card")
    monkeypatch.setenv("JACK_DEFAULT_SERVER", "another")
    claimed("card", "card")


def test_a_recording_process_whose_owner_was_killed_is_waited_for(monkeypatch):
    monkeypatch.setattr(owner, "PLAYING_S", 0.1)
    claimed("card", "card")
    script = "import sys; from measure.source.owner import hold_while_playing as hold; hold('card', 'card', told='it')\n"
    wait = "print('mine', flush=True); sys.stdin.read()"
    words = [sys.executable, "-c", script + wait]
    with subprocess.Popen(words, cwd=TOP, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True) as process:
        assert process.stdout.readline() == "mine\n"
        claimed("card", "card")  # nobody owns it
        with pytest.raises(CardHeldError, match="it has the sound card card"):
            hold_while_playing("card", "card", told="I")
        process.kill()


@pytest.mark.skipif(os.name != "posix", reason="users and permissions of POSIX systems")
def test_the_folder_of_the_locks_is_of_this_user_alone(tmp_path, monkeypatch):
    tmp_path.chmod(0o700)
    monkeypatch.setenv("XDG_RUNTIME_DIR", str(tmp_path))
    folder = lock_folder()
    assert folder.parent == tmp_path
    assert folder.stat().st_mode & 0o777 == 0o700
    folder.chmod(0o770)
    with pytest.raises(DeviceError, match=r"is not a folder of this user alone.*Remove it"):
        lock_folder()
    folder.rmdir()
    (tmp_path / "elsewhere").mkdir(mode=0o700)
    folder.symlink_to(tmp_path / "elsewhere")
    with pytest.raises(DeviceError, match="is not a folder of this user alone"):
        lock_folder()
    folder.unlink()
    tmp_path.chmod(0o755)  # a folder for the session that others can enter is none
    assert lock_folder().parent != tmp_path


@pytest.mark.skipif(os.name != "posix", reason="links of POSIX systems")
def test_a_link_in_place_of_a_lock_is_not_followed(tmp_path, monkeypatch):
    monkeypatch.setenv("XDG_RUNTIME_DIR", str(tmp_path))
    tmp_path.chmod(0o700)
    target = tmp_path / "target"
    for _, path in owner._files("card", "card", "owner"):
        path.symlink_to(target)
    with pytest.raises(DeviceError, match=r"cannot be locked .* Remove it"):
        claimed("card", "card")
    assert not target.exists()
