"""All trials in the order they are shown: name -> function of a Rig, giving rows."""

from emulated import trials_boot, trials_drive, trials_faults, trials_inputs, trials_measure
from emulated.rig import Trial

TRIALS: dict[str, Trial] = {
    "boot_time": trials_boot.boot_time,
    "install": trials_boot.install,
    "install_cut": trials_boot.install_cut,
    "upgrade": trials_boot.upgrade,
    "power_cuts": trials_boot.power_cuts,
    "causes": trials_boot.causes,
    "failed_module": trials_boot.failed_module,
    "lamp": trials_drive.lamp,
    "families": trials_measure.families,
    "rates": trials_measure.rates,
    "further_inputs": trials_inputs.further_inputs,
    "silent_host": trials_drive.silent_host,
    "loose_plug": trials_drive.loose_plug,
    "bit_errors": trials_measure.bit_errors,
    "download": trials_drive.download,
    "full_flash": trials_faults.full_flash,
    "damaged_settings": trials_faults.damaged_settings,
    "swapped_chips": trials_faults.swapped_chips,
    "held_bus": trials_faults.held_bus,
    "stopped_amplifier": trials_faults.stopped_amplifier,
    "self_test": trials_faults.self_test,
}
