"""What cocotb asks of pytest when it starts, in the processes of a job, where no test is pytest's.

cocotb 2 imports pytest, whole, for three classes of exceptions and for a rewriting of assertions
that a job has switched off. That took two thirds of the time in which a simulator gets ready, and
once more in the process that builds. This folder comes first on the path of both. Whatever else is
asked for is answered by the real package, in place of this one from then on.
"""

import sys
from importlib import import_module
from pathlib import Path
from types import ModuleType, SimpleNamespace
from typing import Any

_UNUSED = frozenset(("RaisesExc", "RaisesGroup"))
"""What cocotb does without if pytest has none: expected exceptions, which no job has."""


class _NeverRaised(Exception):
    """Stands for what only code that imports the real package can raise."""


raises = skip = xfail = SimpleNamespace(Exception=_NeverRaised)


def _has(name: str, *names: str) -> None:
    """Let there be a module with these names in it, none of which is called."""
    module = sys.modules[name] = ModuleType(name)
    vars(module).update(dict.fromkeys(names))


_has("_pytest")
_has("_pytest.assertion", "install_importhook")
_has("_pytest.config", "Config")


def __getattr__(name: str) -> Any:
    """From the real package."""
    if name in _UNUSED or name.startswith("__"):
        raise AttributeError(f"module 'pytest' has no {name} here")
    for module in [name for name in sys.modules if name.partition(".")[0] in ("pytest", "_pytest")]:
        del sys.modules[module]
    here = str(Path(__file__).parent)
    sys.path[:] = [place for place in sys.path if place != here]
    return getattr(import_module("pytest"), name)
