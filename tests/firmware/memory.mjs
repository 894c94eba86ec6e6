// node memory.mjs MICROPYTHON.mjs ROOT: loads the firmware into a 32-bit MicroPython and prints the heap in use, one line a module.
// Each line is a separate run, because this build collects garbage only between runs.
import fs from 'node:fs';
import path from 'node:path';

const { loadMicroPython } = await import(process.argv[2]);
const root = process.argv[3];
const mp = await loadMicroPython({ heapsize: 256 * 1024, stdout: (line) => console.log(line) });

function put(from, to) {
  mp.FS.mkdir(to);
  for (const name of fs.readdirSync(from)) {
    const file = path.join(from, name);
    if (fs.statSync(file).isDirectory() && name !== '__pycache__') put(file, to + '/' + name);
    else if (/\.m?py$/.test(name)) mp.FS.writeFile(to + '/' + name, fs.readFileSync(file));
  }
}

put(path.join(root, 'firmware'), '/board');
put(path.join(root, 'protocol', 'hotfuel_wire'), '/board/hotfuel_wire');
put(path.join(root, 'tests', 'firmware', 'bare'), '/bare');
mp.FS.chdir('/board');
mp.runPython("import gc, sys; sys.path[:0] = ['/board', '/bare']; import machine, select, time, micropython");
function used(what) {
  mp.runPython('gc.collect()');
  mp.runPython(`print('\\n${what}', gc.mem_alloc())`); // the board's first frames may come before it on the line
}
used('interpreter');
for (const name of ['hotfuel_wire.codec', 'hotfuel_wire.framing', 'board', 'settings', 'commands', 'sampler', 'sender', 'inputs',
  'chips.max31856', 'application']) {
  mp.runPython(`import ${name}`);
  used(name);
}
mp.runPython(`import settings, twinfile
everything = 'inputs=' + ','.join(settings.ROWS['inputs'][2])
settings.save(twinfile.TwinFile('settings'), settings.changed(settings.defaults(), everything))
del settings, twinfile, everything`);
mp.runPython('import application; made = application.Application()');
used('running');
mp.runPython("print('attached', ','.join(made.attached))");
// and a clock chip that answers: its module stays loaded
mp.runPython(`import machine
def answer(self, address, register, count):
    if address != 0x68:
        raise OSError(5)
    return bytes([0x30, 0x12, 0x10, 3, 0x15, 6, 0x26] + [0] * 16)[register:register + count]
machine.I2C.readfrom_mem = answer
del answer`);
mp.runPython("made.time_of_day.step(0); print('clock_chip', made.time_of_day._chip is not None)");
used('with_clock_chip');
// and every input that only some boards have: their modules are loaded at run time
mp.runPython(`import settings
from hotfuel_wire.more import INPUTS
made._settings_set(b'more_inputs=' + ','.join(INPUTS).encode())
made._let_go()
del settings, INPUTS`);
mp.runPython("print('fitted_all', ','.join(made.attached))");
used('with_everything');
