"""Boot: to the prompt if asked for, else the application under the watchdog."""

import micropython

micropython.kbd_intr(-1)  # a 0x03 inside an early command must not stop the program
import board  # noqa: E402

board.lamp(True)  # the lamp test starts as early as possible
if board.prompt_wanted():
    board.stay_at_prompt()
else:
    try:
        from application import Application
    except Exception:  # a broken installation fails here, before the watchdog, and ends at the prompt
        board.stay_at_prompt()
        raise
    board.claim_port()
    board.start_watchdog()
    Application().run()
