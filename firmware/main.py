"""Boot: to the prompt if asked for, else the application under the watchdog."""

import micropython

micropython.kbd_intr(-1)  # a host that asks at once must not stop the program with a 0x03 inside its command
import board  # noqa: E402

board.lamp(True)  # the lamp test begins with the first line that can light it
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
