"""The pulse counter's PIO program, run on a small model of the RP2040's PIO (datasheet 3.2.5 and 3.4).

A jump that is taken sets the program counter; only an instruction that does not jump wraps from the last one to the first.
"""

import ast
from pathlib import Path

import pytest

COUNTERS = Path(__file__).parents[2] / "firmware" / "counters.py"
MEMORY = 32  # instructions; the interpreter places a program at the end of the memory


class Assembler:
    """Takes the calls of a program in place of rp2.asm_pio. `rows`: [instruction, its operand, delay]."""

    def __init__(self):
        self.rows = []
        self.labels = {}
        self.wraps = [0, 0]
        self.names = {
            "wrap_target": lambda: self.wraps.__setitem__(0, len(self.rows)),
            "wrap": lambda: self.wraps.__setitem__(1, len(self.rows) - 1),
            "label": lambda name: self.labels.__setitem__(name, len(self.rows)),
            "wait": lambda level, _source, _index: self._add("wait", level),
            "jmp": lambda _condition, label: self._add("jmp x_dec", label),
            "pin": 1,
            "x_dec": 2,
        }

    def _add(self, instruction, operand):
        self.rows.append([instruction, operand, 0])
        return self

    def __getitem__(self, delay):
        self.rows[-1][2] = delay
        return self


def run(program, levels):
    """The value of X after the pin's levels, one a clock cycle."""
    start = MEMORY - len(program.rows)
    counter, x, idle = 0, 0xFFFFFFFF, 0
    for level in levels:
        if idle:
            idle -= 1
            continue
        assert start + counter < MEMORY and counter < len(program.rows), "the program counter has left the program"
        instruction, operand, delay = program.rows[counter]
        if instruction == "wait" and level != operand:
            continue
        idle = delay
        jump = instruction == "jmp x_dec" and x != 0
        if instruction == "jmp x_dec":
            x = (x - 1) & 0xFFFFFFFF
        if jump:
            counter = program.labels[operand]
        else:
            counter = program.wraps[0] if counter == program.wraps[1] else counter + 1
    return x


@pytest.fixture(scope="module")
def program():
    tree = ast.parse(COUNTERS.read_text(encoding="utf-8"))
    source = next(node for node in ast.walk(tree) if isinstance(node, ast.FunctionDef) and node.name == "edges")
    source.decorator_list = []
    assembler = Assembler()
    exec(compile(ast.Module([source], []), "edges", "exec"), assembler.names)
    assembler.names["edges"]()
    return assembler


@pytest.mark.parametrize("pulses", [0, 1, 7, 300])
def test_every_pulse_counts_once(program, pulses):
    # 1,500 pulses a second at 100 kHz: 66 cycles each, and a few to spare
    levels = [0] * 40 + ([1] * 35 + [0] * 35) * pulses + [0] * 40
    assert 0xFFFFFFFF - run(program, levels) == pulses


def test_a_contact_that_bounces_counts_once(program):
    bounce = [1, 0, 1, 0, 0, 1, 1, 0, 1] + [1] * 40 + [0, 1, 0, 0, 1, 0] + [0] * 60
    assert 0xFFFFFFFF - run(program, [0] * 40 + bounce * 5) == 5
