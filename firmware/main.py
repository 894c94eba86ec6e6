"""Boot: to the prompt if asked for, else the application under the watchdog."""

import board

if not board.prompt_wanted():
    from application import Application  # a broken installation fails here, before the watchdog, and ends at the prompt

    board.claim_port()
    board.start_watchdog()
    Application().run()
