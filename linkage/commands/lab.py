"""JupyterLab for `linkage open`: quiet, and ended from outside as any other verb is."""

from __future__ import annotations

import signal
from pathlib import Path
from types import FrameType

from jupyterlab.labapp import LabApp

QUIET = ("--LabApp.news_url=", "--LabApp.check_for_updates_class=jupyterlab.NeverCheckForUpdate",
         "--LabApp.extension_manager=readonly",  # a workshop need not be on the network
         "--ServerApp.log_level=ERROR", "--LabApp.log_level=ERROR")  # the address is told anyway
ENDS = [getattr(signal, name) for name in ("SIGINT", "SIGTERM", "SIGHUP") if hasattr(signal, name)]


class Server(LabApp.serverapp_class):
    """A server that stops at a signal without a question or a word, and keeps which it was."""

    ended_by = 0

    def init_signal(self) -> None:
        """Take what ends the command."""
        for number in ENDS:
            if signal.getsignal(number) is not signal.SIG_IGN:
                signal.signal(number, self._end)

    def _end(self, number: int, _frame: FrameType | None) -> None:
        Server.ended_by = number  # not of its own class, which traitlets derives
        self.stop(from_signal=True)


class Lab(LabApp):
    """JupyterLab on such a server."""

    serverapp_class = Server


def run_lab(notebook: Path, words: list[str]) -> int:
    """Run JupyterLab on a notebook until it is ended; 2 when it would not start."""
    before = {number: signal.getsignal(number) for number in ENDS}
    try:
        Lab.launch_instance([str(notebook.resolve()), "--ServerApp.ip=127.0.0.1", *QUIET, *words])
        code = 0
    except SystemExit as ended:
        code = 2 if ended.code == 1 else ended.code or 0
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)
    if Server.ended_by:
        signal.raise_signal(Server.ended_by)  # its server has ended in order; now the command
    return code
