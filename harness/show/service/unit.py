"""The systemd unit that starts a show with the machine: systemd.service(5)."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from emulator.errors import ForeglowError

WATCHDOG_S = 30  # after so long without a sign of life, the show is started again
REST_S = 5  # the pause before that
_SHOW_BYTES = 512_000_000  # for the show itself, in addition to its scenes
_PLAIN = re.compile(r"[A-Za-z0-9_/.:=+,@-]+")


class UnitError(ForeglowError, ValueError):
    """A text that cannot be written in a unit."""


@dataclass(frozen=True)
class Service:
    """A show as a service.

    display: its name, for people and the unit's name. command: the program, with its full path, and
    its arguments. folder: where it runs. on_screen: it needs a desktop, so it belongs to a user's
    session. user: under which it runs; groups: additional ones. memory: bytes for each scene.
    scenes: how many there are.
    """

    display: str
    scene: str
    command: Sequence[str]
    folder: Path
    on_screen: bool
    user: str
    groups: Sequence[str]
    memory: int
    scenes: int

    @property
    def name(self) -> str:
        """Of the unit."""
        return "foreglow-" + (re.sub(r"[^A-Za-z0-9_-]+", "-", self.display).strip("-") or "show")

    def text(self) -> str:
        """The unit; its first lines say what to type. Raises UnitError."""
        return "\n".join([*self._how(), "", *self._lines()]) + "\n"

    def _how(self) -> list[str]:
        """As comments, so that you can write the whole output to the file."""
        if self.on_screen:
            place, ctl, log = "~/.config/systemd/user", "systemctl --user", "journalctl --user"
        else:
            place, ctl, log = "/etc/systemd/system", "sudo systemctl", "journalctl"
        return [
            f"# Save this as {place}/{self.name}.service, then type:",
            f"#   {ctl} daemon-reload",
            f"#   {ctl} enable --now {self.name}",
            f"#   {log} -u {self.name} -f    (its log; Ctrl-C ends it)",
            f"# {ctl} restart {self.name} after a change of display or scene;",
            f"# {ctl} disable --now {self.name} ends it, with the wall dark.",
        ]

    def _lines(self) -> list[str]:
        after = ["graphical-session.target"] if self.on_screen else _AFTER_BOOT
        own = [] if self.on_screen else [f"User={_plain(self.user)}"]
        if self.groups and not self.on_screen:
            own.append(f"SupplementaryGroups={_plain(' '.join(self.groups))}")
        most = self.memory * self.scenes + _SHOW_BYTES
        return [
            "[Unit]",
            f"Description={_plain(f'foreglow: {self.scene} on {self.display}')}",
            f"After={' '.join(after)}",
            *([f"PartOf={after[0]}"] if self.on_screen else [f"Wants={' '.join(after)}"]),
            "StartLimitIntervalSec=0",
            "",
            "[Service]",
            "Type=notify",
            *own,
            f"WorkingDirectory={_plain(str(self.folder))}",
            f"ExecStart={' '.join(map(quoted, _startable(self.command)))}",
            "Restart=always",
            f"RestartSec={REST_S}",
            f"WatchdogSec={WATCHDOG_S}",
            "TimeoutStopSec=20",
            "KillMode=mixed",
            f"MemoryMax={most}",
            "OOMPolicy=continue",
            "StandardOutput=journal",
            "StandardError=journal",
            "",
            "[Install]",
            f"WantedBy={after[0] if self.on_screen else 'multi-user.target'}",
        ]


# Wait for the network for E1.31, and for the time of day for schedules.
_AFTER_BOOT = ["network-online.target", "time-sync.target"]


def _startable(command: Sequence[str]) -> Sequence[str]:
    """The command, started by a shell if systemd does not accept the name of the program."""
    if re.search(r"[\"'\\$]", command[0]):
        return ["/bin/sh", "-c", 'exec "$0" "$@"', *command]
    return command


def quoted(word: str) -> str:
    """One word of a command line, as systemd.service(5) reads it: quotes, %, $ and backslashes."""
    _judge(word)
    safe = word.replace("%", "%%").replace("$", "$$")
    if _PLAIN.fullmatch(word):
        return safe
    return '"' + safe.replace("\\", "\\\\").replace('"', '\\"') + '"'


def _plain(text: str) -> str:
    """The rest of a line, which systemd reads unchanged except for %. Raises UnitError."""
    _judge(text)
    if text.endswith("\\"):
        raise UnitError("it ends in a backslash", place=text, fix="give it another name.")
    return text.replace("%", "%%")


def _judge(text: str) -> None:
    if not text.isprintable():
        raise UnitError(
            f"{text!r} cannot be written in a unit", fix="use letters, digits and signs."
        )
