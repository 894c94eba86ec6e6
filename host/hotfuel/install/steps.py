"""Programs, as text, that run at the board's prompt before and after the files are copied; each prints one line of JSON.

The order makes a power cut harmless at every step. First the flag: a board that boots with it ends at its prompt, whatever mixture of versions it holds
(its main.py and board.py are copied first; until they are there, the older version runs as before). Last the flag again, once every new file was read
back and what the older version left is gone. Data is never touched: only names ending in .py or .mpy that were installed are removed.
"""

import json
from collections.abc import Mapping
from typing import Any

FLAG = "install.flag"
MANIFEST = "install.files"
REASON = "reset.why"  # firmware/board.py: the reset that follows is no hang

LOOK = """
import json, os, sys
about = sys.implementation
disk = os.statvfs("/")
def mine():
    try:
        with open("/%(manifest)s") as file:
            return file.read().split()
    except OSError:
        return []
def sizes(folder):
    found = {}
    try:
        for entry in os.ilistdir("/" + folder):
            if entry[1] & 0x4000 == 0 and entry[0].endswith((".py", ".mpy")):
                found[folder + entry[0]] = os.stat("/" + folder + entry[0])[6]
    except OSError:
        pass
    return found
there = sizes("")
there.update(sizes("chips/"))
there.update(sizes("lib/hotfuel_wire/"))
print(json.dumps({
    "name": about.name, "version": list(about.version[:3]), "mpy": getattr(about, "_mpy", 0), "platform": sys.platform,
    "free": disk[0] * disk[3], "block": disk[0], "sizes": there, "installed": mine(),
}))
"""

BEGIN = """
with open("/%(flag)s", "w") as file:
    file.write("1")
print("{}")
"""

# Reads everything back; then deletes what the older version left, and at the end writes the manifest and deletes the flag.
FINISH = """
import hashlib, json, os
from binascii import hexlify
wanted = json.loads(%(wanted)r)
def digest(name):
    sha = hashlib.sha256()
    piece = bytearray(512)
    try:
        with open("/" + name, "rb") as file:
            while True:
                count = file.readinto(piece)
                if not count:
                    break
                sha.update(memoryview(piece)[:count])
    except OSError:
        return ""
    return hexlify(sha.digest()).decode()[:%(digits)d]
bad = [name for name in wanted if digest(name) != wanted[name]]
gone = []
if not bad:
    try:
        with open("/%(manifest)s") as file:
            before = file.read().split()
    except OSError:
        before = []
    for name in before + [name[:-4] + ".py" if name.endswith(".mpy") else name[:-3] + ".mpy" for name in wanted]:
        if name not in wanted and name.endswith((".py", ".mpy")):
            try:
                os.remove("/" + name)
                gone.append(name)
            except OSError:
                pass
    with open("/%(manifest)s", "w") as file:
        file.write("\\n".join(sorted(wanted)))
    with open("/%(reason)s", "w") as file:
        file.write("service")
    for name in ("failure_a", "failure_b"):  # of the version before
        try:
            os.remove("/" + name)
        except OSError:
            pass
    os.remove("/%(flag)s")
print(json.dumps({"bad": bad, "gone": gone}))
"""

DIGITS = 32  # of the SHA-256: 128 bits


def look() -> str:
    """Reports the MicroPython version, the free room and what was installed before; changes nothing."""
    return LOOK % {"manifest": MANIFEST}


def begin() -> str:
    """Set the flag: from here on the board boots to its prompt until the installation is complete."""
    return BEGIN % {"flag": FLAG}


def finish(digests: Mapping[str, str]) -> str:
    """Verify, delete old files, remove the flag. digests: name on the board -> SHA-256 in hex."""
    wanted = json.dumps({name: digest[:DIGITS] for name, digest in digests.items()})
    return FINISH % {"wanted": wanted, "digits": DIGITS, "manifest": MANIFEST, "reason": REASON, "flag": FLAG}


LEAST_MICROPYTHON = (1, 24, 0)
MPY_VERSION = 6
PLATFORM = "rp2"
SPARE_BLOCKS = 4  # folders, flag, manifest


def refusal(about: Mapping[str, Any], sizes: Mapping[str, int], *, bytecode: bool, platform: str = PLATFORM) -> str:
    """Why these files cannot go onto this board, in a sentence; "" when they can. about: what `look` printed; sizes: name -> bytes."""
    version = tuple(about["version"])
    words = ".".join(map(str, version))
    least = ".".join(map(str, LEAST_MICROPYTHON))
    image = "put the official image for exactly this board on it first (hardware/README.md)"
    if about["name"] != "micropython":
        return f"the board runs {about['name']} {words}; the firmware needs MicroPython {least} or later: {image}"
    if version < LEAST_MICROPYTHON:
        return f"the board runs MicroPython {words}; the firmware needs {least} or later: {image}"
    if about["platform"] != platform:
        return (
            f"the board is of the kind {about['platform']}; the firmware runs on {platform} (Raspberry Pi Pico, Pico 2): {image}"
        )
    if bytecode and int(about["mpy"]) & 0xFF != MPY_VERSION:
        return (
            f"the board's MicroPython {words} loads bytecode of version {int(about['mpy']) & 0xFF}, not {MPY_VERSION}: "
            "install with --source"
        )
    block = int(about["block"])
    there = about["sizes"]  # files that exist are replaced one by one
    grown = [max(0, -(-size // block) - -(-there.get(name, 0) // block)) for name, size in sizes.items()]
    needed = block * (sum(grown) + -(-max(sizes.values()) // block) + SPARE_BLOCKS)
    if int(about["free"]) < needed:
        return (
            f"the board has {int(about['free']) // 1000} kB free and the firmware takes up to {needed // 1000} kB beside the old one; "
            "fetch its drives first with `hotfuel download --forget`, which makes room, and try again"
        )
    return ""
