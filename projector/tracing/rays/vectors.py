"""Explicit machine vectors: eight boxes or four triangles tested in one go for rays, and strips of taps summed for
blurs.

numba does not turn these loops into vector code by itself, and an array made inside a kernel comes from the heap, which
costs as much as a short ray. So this file writes LLVM directly; a machine without 256-bit vectors gets the same
operations in smaller pieces. For rays plain additions and products only, never fused: the edge test needs exact
antisymmetry.

Memory is addressed by integers: addresses inside a kernel cost no reference counting. Vectors are fastest where they
begin at a multiple of their size, but need not: arrays that were copied or loaded from a file work as well.
"""

from __future__ import annotations

from llvmlite import ir
from numba.core import cgutils, types
from numba.extending import intrinsic

WIDTH = 8
"""Children of a node."""
GROUP = 4
"""Triangles of a leaf."""
ROW_BYTES = 32
"""A node is 6 rows of plane coordinates and one of children, a leaf 9 rows of corner coordinates."""
NODE_BYTES = 7 * ROW_BYTES
CHILD_ROW_BYTES = 6 * ROW_BYTES
GROUP_BYTES = 9 * ROW_BYTES

_INT32 = ir.IntType(32)
_INT64 = ir.IntType(64)
_FLOATS = ir.VectorType(ir.FloatType(), WIDTH)
_DOUBLES = ir.VectorType(ir.DoubleType(), GROUP)
_EIGHT_DOUBLES = ir.VectorType(ir.DoubleType(), WIDTH)


def place_at(builder, address, offset, element):
    """Pointer to an element `offset` bytes (an int or an LLVM value) after an address."""
    if isinstance(offset, int):
        offset = ir.Constant(_INT64, offset)
    return builder.inttoptr(builder.add(address, offset), element.as_pointer())


def spread(builder, scalar, vector_type):
    """A vector with the same number in each lane."""
    single = builder.insert_element(ir.Constant(vector_type, ir.Undefined), scalar, ir.Constant(_INT32, 0))
    lanes = ir.Constant(ir.VectorType(_INT32, vector_type.count), [0] * vector_type.count)
    return builder.shuffle_vector(single, ir.Constant(vector_type, ir.Undefined), lanes)


def _larger(builder, a, b):
    return builder.select(builder.fcmp_ordered(">", a, b), a, b)


def _smaller(builder, a, b):
    return builder.select(builder.fcmp_ordered("<", a, b), a, b)


def _mask_as_int(builder, lanes):
    """Bit i of the result tells whether lane i is true."""
    return builder.zext(builder.bitcast(lanes, ir.IntType(lanes.type.count)), _INT64)


@intrinsic
def address_of(typingctx, array):
    """Address of an array's first element; the caller keeps the array alive."""
    if not isinstance(array, types.Array):
        return None

    def codegen(context, builder, signature, arguments):
        structure = context.make_array(signature.args[0])(context, builder, arguments[0])
        return builder.ptrtoint(structure.data, _INT64)

    return types.int64(array), codegen


@intrinsic
def stack_words(typingctx, count):
    """Address of `count` (a constant) 8-byte words of the calling function's stack, not cleared."""
    if not isinstance(count, types.IntegerLiteral):
        return None

    def codegen(context, builder, signature, arguments):
        piece = cgutils.alloca_once(builder, _INT64, size=signature.args[0].literal_value)
        piece.align = ROW_BYTES
        return builder.ptrtoint(piece, _INT64)

    return types.int64(count), codegen


def _loader(result, element):
    """An intrinsic that loads the `index`-th element after an address."""

    def load(typingctx, address, index):
        def codegen(context, builder, signature, arguments):
            offset = builder.mul(arguments[1], ir.Constant(_INT64, result.bitwidth // 8))
            return builder.load(place_at(builder, arguments[0], offset, element))

        return result(types.int64, types.int64), codegen

    return load


load_word = intrinsic(_loader(types.int64, _INT64))
load_int = intrinsic(_loader(types.int32, _INT32))
load_float = intrinsic(_loader(types.float32, ir.FloatType()))
load_double = intrinsic(_loader(types.float64, ir.DoubleType()))


def _storer(value_type, element):
    """An intrinsic that puts a value at the `index`-th element after an address."""

    def store(typingctx, address, index, value):
        def codegen(context, builder, signature, arguments):
            offset = builder.mul(arguments[1], ir.Constant(_INT64, value_type.bitwidth // 8))
            builder.store(arguments[2], place_at(builder, arguments[0], offset, element))
            return context.get_dummy_value()

        return types.void(types.int64, types.int64, value_type), codegen

    return store


store_word = intrinsic(_storer(types.int64, _INT64))
store_float = intrinsic(_storer(types.float32, ir.FloatType()))
store_double = intrinsic(_storer(types.float64, ir.DoubleType()))


@intrinsic
def lowest_bit(typingctx, mask):
    """Index of the lowest bit that is set in an int64; 64 for 0."""

    def codegen(context, builder, signature, arguments):
        return builder.cttz(arguments[0], ir.Constant(ir.IntType(1), 0))

    return types.int64(types.int64), codegen


@intrinsic
def float_bits(typingctx, value):
    """The bits of a float32 as an int64; for numbers ≥ 0 they sort as the numbers do."""

    def codegen(context, builder, signature, arguments):
        return builder.zext(builder.bitcast(arguments[0], _INT32), _INT64)

    return types.int64(types.float32), codegen


@intrinsic
def fetch_ahead(typingctx, address):
    """Ask for the 256 bytes at an address, a node or most of a leaf, before they are needed."""

    def codegen(context, builder, signature, arguments):
        place = ir.IntType(8).as_pointer()
        prefetch = builder.module.declare_intrinsic(
            "llvm.prefetch", [place], ir.FunctionType(ir.VoidType(), [place, _INT32, _INT32, _INT32])
        )
        for line in range(4):
            # For reading, to be kept in all caches, as data.
            hints = [ir.Constant(_INT32, hint) for hint in (0, 3, 1)]
            builder.call(prefetch, [place_at(builder, arguments[0], 64 * line, ir.IntType(8)), *hints])
        return context.get_dummy_value()

    return types.void(types.int64), codegen


@intrinsic
def boxes_entered(typingctx, node, near_rows, near_ray, far_ray, t_min, t_max, entries):
    """Which of a node's eight boxes a ray enters between t_min and t_max: a mask of eight bits.

    node       address of 6 rows of 8 float32: low x, y, z, high x, y, z
    near_rows  byte offsets of the rows where the ray comes in, for x, y, z
    near_ray   6 float32: origin x, y, z and slopes x, y, z for the planes where it comes in
    far_ray    6 float32, the same for the planes where it goes out
    entries    address where the eight t of entry are put, float32
    """

    def codegen(context, builder, signature, arguments):
        node, near_rows, near_ray, far_ray, t_min, t_max, entries = arguments
        enter, leave = spread(builder, t_min, _FLOATS), spread(builder, t_max, _FLOATS)

        def crossing(ray, axis, offset):
            plane = builder.load(place_at(builder, node, offset, _FLOATS), align=4)
            origin = spread(builder, builder.extract_value(ray, axis), _FLOATS)
            slope = spread(builder, builder.extract_value(ray, axis + 3), _FLOATS)
            return builder.fmul(builder.fsub(plane, origin), slope)

        for axis in range(3):
            near_row = builder.extract_value(near_rows, axis)
            # Low and high rows of an axis lie at offsets whose sum is constant.
            far_row = builder.sub(ir.Constant(_INT64, (2 * axis + 3) * ROW_BYTES), near_row)
            enter = _larger(builder, crossing(near_ray, axis, near_row), enter)
            leave = _smaller(builder, crossing(far_ray, axis, far_row), leave)
        builder.store(enter, place_at(builder, entries, 0, _FLOATS), align=ROW_BYTES)
        return _mask_as_int(builder, builder.fcmp_ordered("<=", enter, leave))

    rows = types.UniTuple(types.int64, 3)
    ray = types.UniTuple(types.float32, 6)
    return types.int64(types.int64, rows, ray, ray, types.float32, types.float32, types.int64), codegen


@intrinsic
def boxes_reaching(typingctx, node, rows, normal, level):
    """Which of a node's eight boxes reach over a plane: a mask of eight bits. Computed in float64.

    node    address of 6 rows of 8 float32: low x, y, z, high x, y, z
    rows    byte offsets of the rows of the corner that reaches farthest: high where the normal is positive
    normal  3 float64, not necessarily of unit length
    level   float64; a box reaches over it if normal · corner > level
    """

    def codegen(context, builder, signature, arguments):
        node, rows, normal, level = arguments
        height = ir.Constant(_EIGHT_DOUBLES, [0.0] * WIDTH)
        for axis in range(3):
            plane = builder.load(place_at(builder, node, builder.extract_value(rows, axis), _FLOATS), align=4)
            slope = spread(builder, builder.extract_value(normal, axis), _EIGHT_DOUBLES)
            height = builder.fadd(height, builder.fmul(builder.fpext(plane, _EIGHT_DOUBLES), slope))
        return _mask_as_int(builder, builder.fcmp_ordered(">", height, spread(builder, level, _EIGHT_DOUBLES)))

    triple = types.UniTuple(types.float64, 3)
    return types.int64(types.int64, types.UniTuple(types.int64, 3), triple, types.float64), codegen


@intrinsic
def triangles_met(typingctx, group, rows, origin, shear, results):
    """Which of a leaf's four triangles a ray's line meets: a mask of four bits.

    group    address of 9 rows of 4 float64: corner a x, y, z, corner b …
    rows     byte offsets within a corner of the axes that serve as x, y and z
    origin   3 float64 in that order of axes
    shear    2 float64: x and y of the ray's direction for z = 1
    results  address where four rows of 4 float64 are put: the weights of b and c, the sum of all three, and the
             weighted sum of the corners' z; the distance along z is the last over the last but one
    """

    def codegen(context, builder, signature, arguments):
        group, rows, origin, shear, results = arguments

        def corner(index):
            z, x, y = (
                builder.fsub(
                    builder.load(
                        place_at(
                            builder,
                            group,
                            builder.add(builder.extract_value(rows, axis), ir.Constant(_INT64, 3 * index * ROW_BYTES)),
                            _DOUBLES,
                        ),
                        align=8,
                    ),
                    spread(builder, builder.extract_value(origin, axis), _DOUBLES),
                )
                for axis in (2, 0, 1)
            )
            shear_x, shear_y = (spread(builder, builder.extract_value(shear, axis), _DOUBLES) for axis in (0, 1))
            return builder.fsub(x, builder.fmul(shear_x, z)), builder.fsub(y, builder.fmul(shear_y, z)), z

        def edge(p, q):
            return builder.fsub(builder.fmul(p[0], q[1]), builder.fmul(p[1], q[0]))

        a, b, c = corner(0), corner(1), corner(2)
        weights = edge(c, b), edge(a, c), edge(b, a)
        total = builder.fadd(builder.fadd(weights[0], weights[1]), weights[2])
        depth = builder.fmul(weights[0], a[2])
        for weight, point in zip(weights[1:], (b, c), strict=True):
            depth = builder.fadd(depth, builder.fmul(weight, point[2]))
        zero = ir.Constant(_DOUBLES, [0.0] * GROUP)
        signs = []
        for comparison in (">=", "<="):
            each = [builder.fcmp_ordered(comparison, weight, zero) for weight in weights]
            signs.append(builder.and_(builder.and_(each[0], each[1]), each[2]))
        for row, value in enumerate((weights[1], weights[2], total, depth)):
            builder.store(value, place_at(builder, results, row * ROW_BYTES, _DOUBLES), align=ROW_BYTES)
        inside = builder.and_(builder.or_(*signs), builder.fcmp_ordered("!=", total, zero))
        return _mask_as_int(builder, inside)

    triple = types.UniTuple(types.float64, 3)
    pair = types.UniTuple(types.float64, 2)
    return types.int64(types.int64, types.UniTuple(types.int64, 3), triple, pair, types.int64), codegen


STRIP = 64
"""Neighbouring sums that `sum_taps` makes at once: as many as stay in a core's registers."""


@intrinsic
def sum_taps(typingctx, first, offsets, weights, n_taps, sums):
    """STRIP sums over taps, sum x being Σ weights[tap] · the float32 at first + offsets[tap] + 4·x; products and sums
    may be fused.

    first    address of the strip's place in a picture of float32
    offsets  address of n_taps int64, bytes; weights: address of n_taps float32
    sums     address where the STRIP float32 are put
    """

    def codegen(context, builder, signature, arguments):
        first, offsets, weights, n_taps, sums = arguments
        n_vectors = STRIP // WIDTH
        fused = cgutils.get_or_insert_function(
            builder.module, ir.FunctionType(_FLOATS, [_FLOATS] * 3), f"llvm.fmuladd.v{WIDTH}f32"
        )
        zero = ir.Constant(_FLOATS, [0.0] * WIDTH)
        totals = [cgutils.alloca_once_value(builder, zero) for _ in range(n_vectors)]
        for total in totals:
            builder.store(zero, total)
        with cgutils.for_range(builder, n_taps, intp=_INT64) as loop:
            offset = builder.load(place_at(builder, offsets, builder.mul(loop.index, ir.Constant(_INT64, 8)), _INT64))
            weight = builder.load(
                place_at(builder, weights, builder.mul(loop.index, ir.Constant(_INT64, 4)), ir.FloatType())
            )
            weight, start = spread(builder, weight, _FLOATS), builder.add(first, offset)
            for vector, total in enumerate(totals):
                values = builder.load(place_at(builder, start, vector * ROW_BYTES, _FLOATS), align=4)
                builder.store(builder.call(fused, [values, weight, builder.load(total)]), total)
        for vector, total in enumerate(totals):
            builder.store(builder.load(total), place_at(builder, sums, vector * ROW_BYTES, _FLOATS), align=4)
        return context.get_dummy_value()

    return types.void(types.int64, types.int64, types.int64, types.int64, types.int64), codegen
