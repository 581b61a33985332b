"""Listens to a bicycle crank bearing and grades it.

    import acoustic

    result = acoustic.check("spin.m4a", bearing="6805", film=True)

What is behind `check`, `orders` and `bearings` stands in `acoustic.front`, and is loaded when it is first used.
"""

from __future__ import annotations

from importlib import import_module
from types import ModuleType

TYPE_CHECKING = False  # as type checkers know it; importing `typing` for it would take most of the start
if TYPE_CHECKING:
    from typing import Any

    from acoustic.front import CheckResult, bearings, check, orders

__version__ = "0.1.0"
__all__ = ["CheckResult", "__version__", "bearings", "check", "orders"]


def __getattr__(name: str) -> Any:
    if name in ("bearings", "check"):  # packages that answer to a call, see CallablePackage
        return import_module(f"acoustic.{name}")
    if name in __all__:
        return getattr(import_module("acoustic.front"), name)
    raise AttributeError(f"module 'acoustic' has no attribute {name!r}")


class CallablePackage(ModuleType):
    """A package that answers to a call: `acoustic.check("spin.m4a")` beside `acoustic.check.pipeline`.

    Python binds a package that is imported to its name in the package above it, in place of whatever stood there:
    a function `acoustic.check` would be gone after `import acoustic.check.pipeline`. So the package itself takes
    the call, whichever came first. Type checkers see the function, by the import above.
    """

    @property
    def __signature__(self) -> Any:
        """What `inspect.signature`, and by it editors and notebooks, show."""
        from inspect import signature

        return signature(self._function())

    def __call__(self, *arguments: Any, **named: Any) -> Any:
        """As the function of the same name in `acoustic.front`."""
        return self._function()(*arguments, **named)

    def _function(self) -> Any:
        return getattr(import_module("acoustic.front"), self.__name__.removeprefix("acoustic."))
