"""Boot: to the prompt if asked for, else the application under the watchdog."""

import board

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
