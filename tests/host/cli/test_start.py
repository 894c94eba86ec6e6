"""How quickly the program is there: what only some commands need is loaded by them."""

import subprocess
import sys


def test_help_loads_no_heavy_library():
    script = (
        "import sys\n"
        "from hotfuel.cli import boards, checks, drives, fuels, studies\n"
        "print(*sorted({name.partition('.')[0] for name in sys.modules} & {'pandas', 'scipy', 'bokeh', 'pyarrow', 'jinja2', 'duckdb'}))"
    )
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == ""
