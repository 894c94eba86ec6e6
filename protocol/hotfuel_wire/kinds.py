"""The kinds of field on the wire: one row each. All little-endian."""

# kind -> (struct letter, bytes, least value, greatest value); least None: a byte string, shorter ones are padded with zeros
KINDS = {
    "u8": ("B", 1, 0, 0xFF),
    "u16": ("H", 2, 0, 0xFFFF),
    "u32": ("I", 4, 0, 0xFFFFFFFF),
    "u64": ("Q", 8, 0, 0xFFFFFFFFFFFFFFFF),
    "i8": ("b", 1, -0x80, 0x7F),
    "i16": ("h", 2, -0x8000, 0x7FFF),
    "i32": ("i", 4, -0x80000000, 0x7FFFFFFF),
    "i64": ("q", 8, -0x8000000000000000, 0x7FFFFFFFFFFFFFFF),
    "text12": ("12s", 12, None, None),
    "id8": ("8s", 8, None, None),
}
