"""Explicit machine code for the ray kernels, where plain numba cannot say it: memory on the stack.

An array made inside a kernel comes from the heap and costs as much as a short ray; a piece of the stack is free.
"""

from __future__ import annotations

import numba
from llvmlite import ir
from numba.core import cgutils, types
from numba.extending import intrinsic


@intrinsic
def _stack_pointer(typingctx, count):
    """Pointer to `count` int64 of the calling function's stack (count must be a literal)."""
    if not isinstance(count, types.IntegerLiteral):
        return None
    n_words = count.literal_value

    def codegen(context, builder, signature, arguments):
        return cgutils.alloca_once(builder, ir.IntType(64), size=n_words)

    return types.CPointer(types.int64)(count), codegen


@intrinsic
def load_word(typingctx, pointer, index):
    """The int64 at `index` of a stack piece."""

    def codegen(context, builder, signature, arguments):
        return builder.load(builder.gep(arguments[0], [arguments[1]]))

    return types.int64(types.CPointer(types.int64), types.int64), codegen


@intrinsic
def store_word(typingctx, pointer, index, value):
    """Put an int64 at `index` of a stack piece."""

    def codegen(context, builder, signature, arguments):
        builder.store(arguments[2], builder.gep(arguments[0], [arguments[1]]))
        return context.get_dummy_value()

    return types.void(types.CPointer(types.int64), types.int64, types.int64), codegen


stack_words = _stack_pointer
