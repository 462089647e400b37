"""The patches of eight wavelengths looked up in the blurred stack at once, one wavelength to a lane of a machine
vector.

A point asks the stack once for each wavelength, and once more for each cell of the pupil if a shadow's edge crosses it:
this is most of what a turn of the focus ring costs. Neighbouring wavelengths want neighbouring levels, not the same
one, so the levels' data are loaded row by row and turned over into lanes. As in `vectors`, LLVM is written directly.

A table of TABLE_WORDS words on the stack holds a point's eight patches between the steps:

    clear_patches      nothing added up yet, nothing in the way
    choose_patches     where each patch's middle lies, how it moves with the place in the pupil, its two levels and
                       their shares
    add_patches        one look-up each, for one place in the pupil, added up
    add_cells          the same, with the sums beside it that `join_cells` needs
    join_cells         what cells added up to, held to the look-up of the whole pupil
"""

from __future__ import annotations

from llvmlite import ir
from numba.core import cgutils, types
from numba.extending import intrinsic

from projector.tracing.rays.vectors import ROW_BYTES, place_at, spread
from projector.tracing.rays.vectors import WIDTH as LANES

_INT32, _INT64, _FLOAT = ir.IntType(32), ir.IntType(64), ir.FloatType()
_FLOATS, _INTS, _LONGS = (ir.VectorType(kind, LANES) for kind in (_FLOAT, _INT32, _INT64))

# Rows of the table. Those of a level: FIRST_LEVEL + 9 · (0 the finer, 1 the coarser) + these; the addresses take two
# rows.
X, Y, SCALE, PASSED, SUM, CLEAR, ALONE, FIRST_LEVEL = range(8)
COLUMN, ROW, INVERSE_PITCH, LAST_COLUMN, LAST_ROW, ROW_LENGTH, WEIGHT, ADDRESSES = range(8)
_LEVEL_ROWS = 9
# A patch counts as this wide at least where it is divided by, m.
_SMALLEST = 1e-12
# How much all cells alike count beside each by what it sees.
_LITTLE = 2e-3
TABLE_WORDS = (FIRST_LEVEL + 2 * _LEVEL_ROWS) * ROW_BYTES // 8


class _Lanes:
    """Eight numbers of a vector; arithmetic on it writes the machine's instructions."""

    def __init__(self, builder, value):
        self.builder, self.value = builder, value

    def _float(self, other) -> ir.Value:
        return other.value if isinstance(other, _Lanes) else ir.Constant(_FLOATS, [float(other)] * LANES)

    def _made(self, operation: str, other) -> _Lanes:
        return _Lanes(self.builder, getattr(self.builder, operation)(self.value, self._float(other)))

    def __add__(self, other):
        return self._made("fadd", other)

    def __sub__(self, other):
        return self._made("fsub", other)

    def __mul__(self, other):
        return self._made("fmul", other)

    def __truediv__(self, other):
        return self._made("fdiv", other)

    def compared(self, sign: str, other) -> ir.Value:
        """A mask of lanes."""
        return self.builder.fcmp_ordered(sign, self.value, self._float(other))

    def where(self, mask: ir.Value, otherwise) -> _Lanes:
        """These numbers in the lanes of the mask, others elsewhere."""
        return _Lanes(self.builder, self.builder.select(mask, self.value, self._float(otherwise)))

    def without_sign(self) -> _Lanes:
        return self._called("llvm.fabs")

    def root(self) -> _Lanes:
        return self._called("llvm.sqrt")

    def _called(self, name: str) -> _Lanes:
        function = cgutils.get_or_insert_function(
            self.builder.module, ir.FunctionType(_FLOATS, [_FLOATS]), f"{name}.v{LANES}f32"
        )
        return _Lanes(self.builder, self.builder.call(function, [self.value]))

    def whole(self) -> ir.Value:
        """Towards zero, as int32 lanes."""
        return self.builder.fptosi(self.value, _INTS)


def _of_ints(builder, value) -> _Lanes:
    return _Lanes(builder, builder.sitofp(value, _FLOATS))


def _all_lanes(builder, scalar, kind=_FLOATS):
    return spread(builder, scalar, kind)


def _row(table_row: int) -> int:
    return table_row * ROW_BYTES


def _load(builder, address, row: int, kind=_FLOATS):
    value = builder.load(place_at(builder, address, _row(row), kind), align=ROW_BYTES)
    return _Lanes(builder, value) if kind is _FLOATS else value


def _store(builder, value, address, row: int) -> None:
    raw = value.value if isinstance(value, _Lanes) else value
    builder.store(raw, place_at(builder, address, _row(row), raw.type), align=ROW_BYTES)


def _turned_over(builder, rows: list[ir.Value]) -> list[ir.Value]:
    """Eight vectors of eight as columns: pairs are woven, then pairs of pairs, then halves exchanged."""

    def woven(first, second, *mask):
        return builder.shuffle_vector(first, second, ir.Constant(_INTS, list(mask)))

    pairs = []
    for i in range(0, LANES, 2):
        pairs.append(woven(rows[i], rows[i + 1], 0, 8, 1, 9, 4, 12, 5, 13))
        pairs.append(woven(rows[i], rows[i + 1], 2, 10, 3, 11, 6, 14, 7, 15))
    fours = []
    for i in (0, 4):
        for low, high in ((pairs[i], pairs[i + 2]), (pairs[i + 1], pairs[i + 3])):
            fours.append(woven(low, high, 0, 1, 8, 9, 4, 5, 12, 13))
            fours.append(woven(low, high, 2, 3, 10, 11, 6, 7, 14, 15))
    near = [woven(fours[i], fours[i + 4], 0, 1, 2, 3, 8, 9, 10, 11) for i in range(4)]
    far = [woven(fours[i], fours[i + 4], 4, 5, 6, 7, 12, 13, 14, 15) for i in range(4)]
    return near + far


def _step_below(builder, diameters: _Lanes, ladder, n_steps):
    """For each lane the last step of the ladder, but its very last, whose diameter is not above the lane's: int32
    lanes.
    """
    found = cgutils.alloca_once_value(builder, ir.Constant(_INTS, [0] * LANES))
    with cgutils.for_range_slice(
        builder, ir.Constant(_INT64, 1), builder.sub(n_steps, ir.Constant(_INT64, 1)), ir.Constant(_INT64, 1), _INT64
    ) as (step, _):
        rung = builder.load(place_at(builder, ladder, builder.mul(step, ir.Constant(_INT64, 4)), _FLOAT))
        above = diameters.compared(">", _Lanes(builder, _all_lanes(builder, rung)))
        # A mask's lanes are −1 where true.
        builder.store(builder.sub(builder.load(found), builder.sext(above, _INTS)), found)
    return builder.load(found)


def _take_level(
    builder, table, level, levels, texels, which: int, wide: _Lanes, turn: _Lanes, middle: tuple[_Lanes, _Lanes]
) -> tuple[_Lanes, _Lanes]:
    """Write one level's data of each lane (its number int32) to the table; gives back the levels' diameters and what
    their texels' unit stands for.

    wide: the patches' diameters; turn: 0 … 1, how far a level is drawn to that size about the middle (x, y)
    """
    start = FIRST_LEVEL + _LEVEL_ROWS * which
    rows = []
    for lane in range(LANES):
        number = builder.sext(builder.extract_element(level, ir.Constant(_INT32, lane)), _INT64)
        rows.append(
            builder.load(
                place_at(builder, levels, builder.mul(number, ir.Constant(_INT64, ROW_BYTES)), _FLOATS), align=4
            )
        )
    left, top, inverse_pitch, last_row, diameter, unit, width, offset = (
        _Lanes(builder, value) for value in _turned_over(builder, rows)
    )
    long_offset = builder.zext(builder.bitcast(offset.value, _INTS), _LONGS)
    address = builder.add(
        builder.shl(long_offset, ir.Constant(_LONGS, [1] * LANES)), _all_lanes(builder, texels, _LONGS)
    )
    builder.store(address, place_at(builder, table, _row(start + ADDRESSES), _LONGS), align=ROW_BYTES)
    width = builder.bitcast(width.value, _INTS)
    # Drawn to another size a level keeps its light: what it covers grows as what it holds falls.
    smaller = (diameter / wide - 1.0) * turn + 1.0
    for row, value in (
        (COLUMN, (middle[0] - left - middle[0] * smaller) * inverse_pitch),
        (ROW, (middle[1] - top - middle[1] * smaller) * inverse_pitch),
        (INVERSE_PITCH, inverse_pitch * smaller),
        (LAST_COLUMN, _of_ints(builder, width) - 1.0),
        (LAST_ROW, last_row),
        (ROW_LENGTH, width),
    ):
        _store(builder, value, table, start + row)
    return diameter, unit * smaller * smaller


@intrinsic
def clear_patches(typingctx, table):
    """Nothing added up yet, and nothing in the way of any lane."""

    def codegen(context, builder, signature, arguments):
        for row in (SUM, CLEAR, ALONE):
            _store(builder, ir.Constant(_FLOATS, [0.0] * LANES), arguments[0], row)
        _store(builder, ir.Constant(_FLOATS, [1.0] * LANES), arguments[0], PASSED)
        return context.get_dummy_value()

    return types.void(types.int64), codegen


@intrinsic
def choose_patches(typingctx, table, stack, middle, inverse_sharp, lateral, patch):
    """Choose the two levels of eight wavelengths' patches, and where these lie.

    stack          5 int64: addresses of texels, of levels (LEVEL) and of the float32 ladder of diameters; how many
                   steps this has;
                   how many levels later the same step for the turned pupil comes, 0 where a half turn changes nothing
    inverse_sharp  address of 8 float32 (1/m), lateral: address of 8 float32
    middle         3 float32: x and y (m) of the light's centroid in the gate, 1/m of the lit part's size
    patch          7 float32: tube length s, inverse distance less the field's curvature (1/m), bend of the spherical
                   term,
                   diameter of the (part of the) pupil, footprint, x and y of the middle for a lateral of 1 (m)

    A patch wider than the lit part sees little but the pupil's own image, which grows with the patch: from twice the
    lit part on the levels are drawn to the patch's size about the light's middle, from one to two in part.
    """

    def codegen(context, builder, signature, arguments):
        table, stack, middle, inverse_sharp, lateral, patch = arguments
        texels, levels, ladder, n_steps, turned = (builder.extract_value(stack, i) for i in range(5))
        tube, inverse_distance, bend, diameter, footprint, x, y = (
            _Lanes(builder, _all_lanes(builder, builder.extract_value(patch, i))) for i in range(7)
        )
        *centre, inverse_extent = (
            _Lanes(builder, _all_lanes(builder, builder.extract_value(middle, i))) for i in range(3)
        )
        sharp = _Lanes(builder, builder.load(place_at(builder, inverse_sharp, 0, _FLOATS), align=4))
        spread_out = _Lanes(builder, builder.load(place_at(builder, lateral, 0, _FLOATS), align=4))
        scale = tube * (sharp - inverse_distance)
        # The spherical term stretches a cell more along the radius than across it; its area decides.
        stretched = ((scale + bend) * (scale + bend * 3.0)).without_sign()
        wide = (diameter * diameter * stretched + footprint * footprint).root()
        _store(builder, x * spread_out, table, X)
        _store(builder, y * spread_out, table, Y)
        _store(builder, scale + bend, table, SCALE)
        step = _step_below(builder, wide, ladder, n_steps)
        later = builder.select(
            scale.compared("<", 0.0),
            _all_lanes(builder, builder.trunc(turned, _INT32), _INTS),
            ir.Constant(_INTS, [0] * LANES),
        )
        level = builder.add(step, later)
        turn = wide * inverse_extent - 1.0
        turn = turn.where(turn.compared(">", 0.0), 0.0)
        turn = turn.where(turn.compared("<", 1.0), 1.0)
        drawn = wide.where(wide.compared(">", _SMALLEST), _SMALLEST)
        low, fine = _take_level(builder, table, level, levels, texels, 0, drawn, turn, centre)
        high, coarse = _take_level(
            builder, table, builder.add(level, ir.Constant(_INTS, [1] * LANES)), levels, texels, 1, drawn, turn, centre
        )
        share = (wide - low) / (high - low)
        share = share.where(share.compared(">", 0.0), 0.0)
        share = share.where(share.compared("<", 1.0), 1.0)
        # Small patches add to the pixels' own blur by their squares.
        share = share.where(low.compared(">", 0.0), share * share)
        _store(builder, fine - fine * share, table, FIRST_LEVEL + WEIGHT)
        _store(builder, coarse * share, table, FIRST_LEVEL + _LEVEL_ROWS + WEIGHT)
        return context.get_dummy_value()

    three = types.UniTuple(types.float32, 3)
    return (
        types.void(
            types.int64,
            types.UniTuple(types.int64, 5),
            three,
            types.int64,
            types.int64,
            types.UniTuple(types.float32, 7),
        ),
        codegen,
    )


def _looked_up(builder, table, which: int, x: _Lanes, y: _Lanes) -> _Lanes:
    """One level's part of the light at eight places of the gate plane (m), linear between texel centres, 0 outside."""
    start = FIRST_LEVEL + _LEVEL_ROWS * which
    at_column, at_row, inverse_pitch, last_column, last_row = (
        _load(builder, table, start + row) for row in (COLUMN, ROW, INVERSE_PITCH, LAST_COLUMN, LAST_ROW)
    )
    row_length = _load(builder, table, start + ROW_LENGTH, _INTS)
    column, row = x * inverse_pitch + at_column, y * inverse_pitch + at_row
    held = column.compared(">=", 0.0)
    for mask in (row.compared(">=", 0.0), column.compared("<", last_column), row.compared("<", last_row)):
        held = builder.and_(held, mask)
    column, row = column.where(held, 0.0), row.where(held, 0.0)
    j, i = column.whole(), row.whole()
    right, lower = column - _of_ints(builder, j), row - _of_ints(builder, i)
    upper_index = builder.add(builder.mul(i, row_length), j)
    lower_index = builder.add(upper_index, row_length)
    lines = []
    for index in (upper_index, lower_index):
        pairs = ir.Constant(_INTS, ir.Undefined)
        for lane in range(LANES):
            number = ir.Constant(_INT32, lane)
            base = builder.load(place_at(builder, table, _row(start + ADDRESSES) + 8 * lane, _INT64))
            offset = builder.shl(builder.zext(builder.extract_element(index, number), _INT64), ir.Constant(_INT64, 1))
            # Two 16-bit neighbours in one load: little-endian, as all machines that numba knows.
            pairs = builder.insert_element(
                pairs, builder.load(place_at(builder, base, offset, _INT32), align=2), number
            )
        first = _of_ints(builder, builder.and_(pairs, ir.Constant(_INTS, [0xFFFF] * LANES)))
        second = _of_ints(builder, builder.lshr(pairs, ir.Constant(_INTS, [16] * LANES)))
        lines.append(first + (second - first) * right)
    value = (lines[0] + (lines[1] - lines[0]) * lower) * _load(builder, table, start + WEIGHT)
    return value.where(held, 0.0)


def _patches(builder, table, ax: _Lanes | float, ay: _Lanes | float) -> _Lanes:
    """The eight patches looked up as seen from (ax, ay) (m) in the pupil."""
    scale = _load(builder, table, SCALE)
    x, y = _load(builder, table, X) + scale * ax, _load(builder, table, Y) + scale * ay
    return _looked_up(builder, table, 0, x, y) + _looked_up(builder, table, 1, x, y)


def _add(builder, table, row: int, value: _Lanes) -> None:
    _store(builder, _load(builder, table, row) + value, table, row)


@intrinsic
def add_patches(typingctx, table, ax, ay, factor):
    """Look the eight patches up as seen from (ax, ay) (m) in the pupil, and add factor · what passes (open gate on the
    axis = 1).
    """

    def codegen(context, builder, signature, arguments):
        table = arguments[0]
        ax, ay, factor = (_Lanes(builder, _all_lanes(builder, value)) for value in arguments[1:])
        _add(builder, table, SUM, _patches(builder, table, ax, ay) * factor * _load(builder, table, PASSED))
        return context.get_dummy_value()

    return types.void(types.int64, types.float32, types.float32, types.float32), codegen


@intrinsic
def add_cells(typingctx, table, ax, ay, clear, arrived):
    """The same for a cell round (ax, ay): `clear` is how much it counts where nothing hides it, `arrived` the share of
    it that is seen.

    Beside it sums of what passes where nothing is hidden (CLEAR), and of what is seen where no stencil is in the way
    (ALONE).
    """

    def codegen(context, builder, signature, arguments):
        table = arguments[0]
        ax, ay, clear, arrived = (_Lanes(builder, _all_lanes(builder, value)) for value in arguments[1:])
        seen = clear * arrived * _load(builder, table, PASSED)
        light = _patches(builder, table, ax, ay)
        _add(builder, table, SUM, light * seen)
        _add(builder, table, CLEAR, light * clear)
        _add(builder, table, ALONE, seen)
        return context.get_dummy_value()

    return types.void(types.int64, *[types.float32] * 4), codegen


@intrinsic
def join_cells(typingctx, table, clear):
    """Take from the cells what share of the light is seen, and from the whole pupil, chosen last, how much there is;
    clear: all cells' sum.

    Cells are drawn as discs, which overlap here and leave gaps there: of an opening much smaller than a cell they show
    spots. In the share of one sum of cells in another the spots fall out. Where no disc meets the opening, all cells
    count alike.
    """

    def codegen(context, builder, signature, arguments):
        table = arguments[0]
        clear = _Lanes(builder, _all_lanes(builder, arguments[1]))
        whole = _patches(builder, table, 0.0, 0.0) * clear
        little = whole * _LITTLE
        all_light = _load(builder, table, CLEAR) + little
        light = (_load(builder, table, SUM) + little * _load(builder, table, ALONE) / clear) * whole / all_light
        _store(builder, light.where(all_light.compared(">", 0.0), 0.0), table, SUM)
        return context.get_dummy_value()

    return types.void(types.int64, types.float32), codegen


@intrinsic
def add_open(typingctx, table, factor):
    """The same where nothing of the stencil stands in the way: add factor."""

    def codegen(context, builder, signature, arguments):
        table, factor = arguments
        _add(builder, table, SUM, _Lanes(builder, _all_lanes(builder, factor)) * _load(builder, table, PASSED))
        return context.get_dummy_value()

    return types.void(types.int64, types.float32), codegen
