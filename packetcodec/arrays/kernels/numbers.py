"""The numbers by which tables and kernels agree: columns of tables, forms of columns, what a packet is.

They stand apart from the kernels, which are imported to be compiled, and not before.
"""

#: Packets that are taken together: what is kept of them fits the second cache. Those of tracks, and those that are encoded.
BLOCK, TRACK_BLOCK, PACK_BLOCK, CODE_BLOCK = 2048, 512, 2048, 1024

#: Rows of words that products are kept in, behind those of a block of packets.
SPARE = 4

#: What a packet is: the numbers of `packetcodec.errors.STATUSES`, and no packet of the layout at all.
OK, SHORT, LONG, NO_VERSION, NO_LAYOUT, CHECK, PADDING, RANGE, TRAIL = range(9)
NO_ROW = 127

#: The forms of a column: what stands in it for a code.
F64, I32, I64, I8, I16, BOOL = range(6)

#: Columns of the table of fields.
OFFSET, BITS, UNUSED, SPAN, ABSENT, LOW, STEP, HIGH, FORM, OPTIONAL, VALUES, VALID, MAX_CODE, TOP = range(14)
#: Columns of its real numbers.
R_LOW, R_STEP, R_HIGH, R_SCALE = range(4)
#: Numbers of a layout.
(
    SIZE, LONGEST, WORDS, HEADER_BITS, PAD_OFFSET, PAD_BITS, CHECK_BITS, STATUS_AT, OK_AT, ROW_AT, ROWS, DATA_BITS,
    NORTH, EAST, HEIGHT, CHECK_BYTES,
) = range(16)  # fmt: skip

#: Columns of the table of fields that are sent by their low bits; an absent remainder of -1 is none.
PLACE, LOW_MODULUS, LAST_CODE, ABSENT_LOW, ABSENT_CODE, CIRCLE, REACH, TWO_WAYS = range(8)
#: What stands for a reference that is not known.
UNKNOWN = -1

#: Numbers of a trail.
(
    POINTS, INITIAL, RATE, COARSENINGS, COUNT_BITS, CLIMB, CLIMB_INITIAL, CLIMB_RATE, SEED, INTERVAL, SPACING,
    SPACING_SCALE, BEND,
) = range(13)  # fmt: skip
#: Cells of a trail at a whole degree: their steps in base units, and the farthest from the anchor.
CELL, WIDE, NORTHMOST, EASTMOST = range(4)
#: Where the columns of points stand, and the form of their numbers.
LISTS, LATITUDES, LONGITUDES, ALTITUDES, HAS_ALTITUDE, AGES, HAS_AGE, POINT_FORM = range(8)

#: Groups of a mixed recording: rows without a packet, the faults of a header, then layouts.
NO_PACKET, NO_HEADER, UNLIKE_VERSION, UNLIKE_LAYOUT, LAYOUTS = range(5)

#: Numbers of a field that is encoded, and what becomes of a value beyond its range.
IN_LOW, IN_HIGH, MAX_INPUT, IN_STEP, LAST, IN_ABSENT, MODULUS, POLICY, ORIGIN, SCALE, WHOLE = range(11)
REFUSE, CLIP, WRAP = range(3)
