"""How kernels are put together: each is translated once, and becomes machine code where it is used.

Left to itself, numba makes machine code of every function that another one calls, with a wrapper for Python,
and optimises it anew in each function above it. Here a kernel that another one calls stays a part: its code
is handed up as it is, and only the kernel at the top, which Python calls, is optimised and made into machine
code, with every part in it once. That takes half the time. Results are the same to the last bit, since
nothing here lets the compiler touch the order of floating-point operations.
"""

import gc
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from numba.core import compiler
from numba.core.codegen import JITCodeLibrary
from numba.core.registry import CPUDispatcher

# Functions that were translated in this process.
translated = 0


class _Part(JITCodeLibrary):  # type: ignore[misc]
    """Code of one kernel for others to take in; it never becomes machine code by itself."""

    def finalize(self) -> None:
        self._raise_if_finalized()
        self._finalize_dynamic_globals()
        self._finalized = True


class _Whole(JITCodeLibrary):  # type: ignore[misc]
    """Code of a kernel that Python calls, with each part that it or its parts call, once."""

    _linking_libraries: Any

    def finalize(self) -> None:
        self._raise_if_finalized()
        found: dict[Any, None] = {}
        waiting: list[Any] = [self]
        while waiting:
            library = waiting.pop()
            if isinstance(library, _Part | _Whole):
                further = [one for one in library._linking_libraries if one not in found]
                found.update(dict.fromkeys(further))
                waiting += further
        self._linking_libraries = list(found)
        super().finalize()


class _Compiler(compiler.Compiler):  # type: ignore[misc]
    def _compile_core(self) -> Any:
        global translated
        translated += 1
        with _no_collection():
            return super()._compile_core()


class _WholeCompiler(_Compiler):
    def define_pipelines(self) -> Any:
        state = self.state
        state.library = _Whole(state.targetctx.codegen(), state.func_id.func_qualname)
        state.library.enable_object_caching()
        return super().define_pipelines()


class _PartCompiler(_Compiler):
    def define_pipelines(self) -> Any:
        state = self.state
        state.library = _Part(state.targetctx.codegen(), state.func_id.func_qualname)
        state.flags.no_compile = True
        state.flags.no_cpython_wrapper = True
        return super().define_pipelines()

    def _compile_core(self) -> Any:
        # in numba's tables, a thing of its own stands for the function that Python would call
        result = super()._compile_core()._replace(entry_point=object())
        self.state.targetctx.insert_user_function(result.entry_point, result.fndesc, [result.library])
        return result


class _PartDispatcher(CPUDispatcher):  # type: ignore[misc]
    """Compiles a kernel as a part; nobody can call it from Python."""

    def add_overload(self, result: Any) -> None:
        self.overloads[tuple(result.signature.args)] = result


@contextmanager
def _no_collection() -> Iterator[None]:
    """Spare the search for garbage; of the millions of things that compiling makes, most are kept."""
    collects = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if collects:
            gc.enable()


def joined_kernel(function: Any, alone: dict[str, Any], called: dict[str, Any]) -> Any:
    """Return the dispatcher of a kernel, whole for Python and a part for kernels that call it.

    The options are those of ``numba.njit``, for the one and for the other.
    """
    whole = CPUDispatcher(function, targetoptions={"nopython": True, **alone}, pipeline_class=_WholeCompiler)
    part = _PartDispatcher(function, targetoptions={"nopython": True, **called}, pipeline_class=_PartCompiler)
    # what numba asks the dispatcher of a function that is called by another
    whole.get_call_template = part.get_call_template
    whole.get_overload = part.get_overload
    return whole
