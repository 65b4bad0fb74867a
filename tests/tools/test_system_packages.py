"""tools/system-packages.sh, on a fake machine whose libraries and package manager are scripts."""

import pytest

from fem.installation.check import MESH_LIBRARIES, PICTURE_LIBRARIES
from tests.helpers.fake_machine import TOOLS, FakeMachine
from tests.helpers.messages import assert_states

ALL = [
    line.split()
    for line in (TOOLS / "system-packages.sh").read_text().split('needed="')[1].splitlines()[1:]
    if len(line.split()) == 2
]
LIBRARIES = [file for file, _ in ALL if file.startswith("lib")]


class Machine(FakeMachine):
    """A machine that has everything until a test removes some of it."""

    def __init__(self, folder):
        super().__init__(folder, "tail", "true")
        self.calls = folder / "calls"
        self.libraries(*LIBRARIES)
        for command in ("gcc", "make", "chromium", "Xvfb", "xdotool"):
            self.script(self.bin / command, "exit 0")
        self.user(0)
        self.apt("exit 0")

    def libraries(self, *names):
        lines = "".join(f"\t{name} (libc6,x86-64) => /lib/{name}\n" for name in names)
        self.script(self.bin / "ldconfig", f"printf '{lines}'")

    def user(self, number):
        self.script(self.bin / "id", f"echo {number}")

    def apt(self, body):
        self.script(self.bin / "apt-get", f'echo "$0 $*" >> {self.calls}\n{body}')

    def called(self):
        return self.calls.read_text().splitlines() if self.calls.exists() else []

    def install(self, *arguments, **variables):
        return self.run("system-packages.sh", *arguments, **variables)


@pytest.fixture
def machine(tmp_path):
    return Machine(tmp_path)


def test_script_and_check_install_know_the_same_packages():
    assert set(map(tuple, ALL)) >= {*MESH_LIBRARIES.items(), *PICTURE_LIBRARIES.items()}


def test_complete_machine_is_left_alone_without_a_word(machine):
    assert machine.install("--tests") == (0, "", "")
    assert not machine.called()


def test_root_installs_what_is_missing_after_naming_it(machine):
    machine.libraries(*[name for name in LIBRARIES if name not in ("libGLU.so.1", "libEGL.so.1")])
    (machine.bin / "gcc").unlink()
    code, output, _ = machine.install()
    assert code == 0
    (call,) = machine.called()
    for text in (output, call):
        assert text.endswith("libglu1-mesa libegl1 gcc libc6-dev")


def test_library_of_32_bits_does_not_count(machine):
    lines = "".join(f"\\t{name} (libc6) => /lib/i386/{name}\\n" for name in LIBRARIES)
    machine.script(machine.bin / "ldconfig", f"printf '{lines}'")
    assert machine.install()[0] == 0
    assert machine.called()[0].endswith(" ".join(package for _, package in ALL[: len(LIBRARIES)]))


def test_library_on_the_path_of_the_loader_counts(machine, tmp_path):
    machine.libraries(*LIBRARIES[1:])
    (tmp_path / LIBRARIES[0]).touch()
    assert machine.install(LD_LIBRARY_PATH=f"/nowhere:{tmp_path}")[0] == 0
    assert not machine.called()


def test_what_only_tests_need_is_installed_for_tests_only(machine):
    for command in ("chromium", "Xvfb", "xdotool"):
        (machine.bin / command).unlink()
    assert machine.install()[0] == 0
    assert not machine.called()
    assert machine.install("--tests")[0] == 0
    assert machine.called()[0].endswith("chromium xvfb xdotool")


def test_package_lists_are_updated_when_the_first_attempt_fails(machine, tmp_path):
    (machine.bin / "gcc").unlink()
    mark = tmp_path / "updated"
    machine.apt(f'[ "$1" != update ] || : > {mark}\n[ -e {mark} ]')
    assert machine.install()[0] == 0
    assert [line.split()[1] for line in machine.called()] == ["install", "update", "install"]


def test_package_that_cannot_be_installed_is_named_with_the_cause(machine):
    (machine.bin / "gcc").unlink()
    machine.apt("echo 'E: disk full' >&2; exit 100")
    code, _, message = machine.install()
    assert code == 1
    assert_states(message, "E: disk full", "gcc libc6-dev")


def test_user_without_sudo_gets_the_command(machine):
    (machine.bin / "gcc").unlink()
    machine.user(1000)
    code, _, message = machine.install()
    assert code == 1
    assert_states(message, "sudo apt-get install -y gcc libc6-dev")
    assert not machine.called()


def test_user_whose_sudo_asks_for_a_password_gets_the_command(machine):
    (machine.bin / "gcc").unlink()
    machine.user(1000)
    machine.script(machine.bin / "sudo", "exit 1")
    assert machine.install()[0] == 1
    assert not machine.called()


def test_user_with_free_sudo_installs(machine):
    (machine.bin / "gcc").unlink()
    machine.user(1000)
    machine.script(machine.bin / "sudo", '[ "$1" = -n ] && shift && exec "$@"')
    assert machine.install()[0] == 0
    assert machine.called()[0].endswith("gcc libc6-dev")


def test_system_without_apt_gets_the_names(machine):
    machine.libraries(*LIBRARIES[1:])
    (machine.bin / "apt-get").unlink()
    code, _, message = machine.install()
    assert code == 1
    assert_states(message, dict(ALL)[LIBRARIES[0]])
