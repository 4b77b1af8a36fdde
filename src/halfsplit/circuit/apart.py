"""Functions compiled once and apart from those that call them.

By default the compiler copies all that a function calls into that function's own code, optimises
the whole and writes it out, and then does the same for whatever calls that, layer upon layer. A
function compiled apart is known by a fixed name instead, as one of a shared library would be. Code
that calls it may come from the disk of an earlier run: only the name stands in it. So what is
called must be named before code that calls it is loaded: it stands above it, or in a module that
is imported. The compiler does its work at that import, for one set of types, given by example.
"""

from __future__ import annotations

import inspect
from collections.abc import Callable
from typing import Any

import numba
from llvmlite import binding
from numba.core import cgutils
from numba.extending import intrinsic

from halfsplit.circuit.jit import jit_inner

_typeof: Any = numba.typeof
_declared: Any = cgutils.get_or_insert_function
# Compiled code stays where it is only as long as somebody holds it.
_held: list[Any] = []


def jit_apart(*examples: Any) -> Callable[[Callable[..., Any]], Any]:
    """Compile the function below for arguments of the types of `examples`, under a name of its own.

    What results can be called from compiled code alone. A number of another kind is converted;
    an array must be of the kind, the dimensions and the order of its example.
    """
    wanted = tuple(_typeof(example) for example in examples)

    def decorate(function: Callable[..., Any]) -> Any:
        dispatcher = jit_inner(function)
        dispatcher.compile(wanted)
        (made,) = dispatcher.overloads.values()
        name = f"{function.__module__}.{function.__name__}"
        address = made.library.get_pointer_to_function(made.fndesc.llvm_func_name)
        binding.add_symbol(name, address)
        _held.append(dispatcher)
        return _caller(name, made.signature, inspect.signature(function))

    return decorate


def jit_within(*examples: Any) -> Callable[[Callable[..., Any]], Any]:
    """Compile the function below for these types alone; its code goes into that of its callers.

    For what is too short to stand apart and is called with bare numbers, for each of which the
    compiler would make another copy. A number of another kind is converted.
    """
    wanted = tuple(_typeof(example) for example in examples)

    def decorate(function: Callable[..., Any]) -> Any:
        dispatcher = jit_inner(function)
        dispatcher.compile(wanted)
        dispatcher.disable_compile()
        return dispatcher

    return decorate


def _caller(name: str, typed: Any, named: inspect.Signature) -> Any:
    """What compiled code sees in place of the function: a call of that name."""
    result, wanted = typed.return_type, typed.args

    def generate(context: Any, builder: Any, signature: Any, values: Any) -> Any:
        kind = context.call_conv.get_function_type(result, wanted)
        function = _declared(builder.module, kind, name)
        # Nothing compiled here can raise, so there is no need to look whether it did.
        _, found = context.call_conv.call_function(builder, function, result, wanted, values)
        return found

    def call(typing_context: Any, *given: Any) -> Any:
        return result(*wanted), generate

    # The compiler asks for the parameters by name.
    context = inspect.Parameter("typing_context", inspect.Parameter.POSITIONAL_OR_KEYWORD)
    parameters = [context, *named.parameters.values()]
    call.__signature__ = inspect.Signature(parameters)  # type: ignore[attr-defined]
    return intrinsic(call)
