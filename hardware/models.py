"""The models of the circuit simulator and their sources. Typical curves; the corners vary what the data sheets bound.

Name -> (SPICE model, source). Where it says "fit", the parameters were fitted to the limits named, so that the model lies at or beside them.
"""

MODELS = {
    "RECTIFIER": (
        "D(IS=8n N=1.6 RS=30m BV=400 CJO=50p TT=2u)",
        "1N5400 to 1N5408 data sheets: 1.0 to 1.2 V at most at 3 A, 30 to 50 pF, junction 150 degC, 20 K/W on 20 x 20 mm copper; fit, 0.80 V at 1 A",
    ),
    "LOADDUMP": (
        "D(IS=1p N=1.2 RS=25m BV={bv} IBV=5m CJO=3n)",
        "SM8S12A data sheet: breakdown 13.3 to 14.7 V at 5 mA, 19.9 V at most at 332 A, hence 16 mOhm; junction 175 degC, 0.9 K/W to case; "
        "5200 W for 10/10000 us. Temperature coefficient 0.1 %/K (usual for the kind, from memory)",
    ),
    "SCHOTTKY1A": (
        "D(IS=1u N=1.05 RS=60m BV=40 CJO=110p EG=0.69 XTI=2)",
        "1 A 40 V Schottky data sheets: 0.45 V (Diodes 1N5819HW), 0.55 V (B140HWQ), 0.60 V (Taiwan Semiconductor 1N5819) at most at 1 A; fit, 0.44 V",
    ),
    "BAS70": (
        "D(IS=0.8n N=1.04 RS=30 BV=70 CJO=2p EG=0.69 XTI=2)",
        "BAS70 data sheets (Taiwan Semiconductor DS_S1404012, Infineon series): 0.41 V at 1 mA, 0.75 V at 10 mA, 1 V at 15 mA at most; fit",
    ),
    "BAT54": (
        "D(IS=14n N=1.05 RS=3 BV=30 CJO=10p EG=0.69 XTI=2)",
        "BAT54 data sheet (Rectron, 2006): 0.24 V at 0.1 mA, 0.4 V at 10 mA, 1 V at 100 mA at most; fit",
    ),
    "BAT46": (
        "D(IS=10n N=1.05 RS=2.5 BV=100 CJO=10p EG=0.69 XTI=2)",
        "BAT46 data sheet (STMicroelectronics, 2006): 0.25 V at 0.1 mA, 0.45 V at 10 mA, 1 V at 250 mA at most; fit",
    ),
    "SIGNAL": ("D(IS=5n N=2 RS=0.8622 BV=100 CJO=0.868p TT=6n)", "maker's model of the 1N914B, same die as the 1N4148 (2007)"),
    "OPTO": (
        "D(IS=62f N=1.8 RS=2 CJO=20p)",
        "infrared diode of a usual optocoupler: 1.25 V at 10 mA; transfer 80 % at 5 mA by the parts list; fit",
    ),
    "AMBER": ("D(IS=2e-18 N=2 RS=5)", "amber LED of the parts list: 2 V at 20 mA; fit"),
    "ESD24": (
        "D(IS=1p N=1.1 RS=0.5 BV=26 CJO=10p)",
        "24 V stand-off suppressor of the kind: 25.4 to 30.3 V at 5 mA (from memory)",
    ),
    "PIN": (
        "D(IS=1e-14 N=1 RS=20)",
        "protection diode of a processor pin: 0.7 V at 1 mA (assumption; the RP2040 data sheet names only the limits)",
    ),
    "IDEAL": ("D(IS=1u N=0.2 RS=10m)", "a converter's output that gives and does not take"),
    "NMOS60": ("NMOS(VTO=1.5 KP=3.3 LEVEL=1)", "n-channel for 2.5 V drive: 0.3 Ohm at most at 2.5 V (by the parts list); fit"),
}
TEMPERATURE_COEFFICIENT = 1e-3  # of the load-dump suppressor, 1/K
BREAKDOWN_V = (13.3, 14.0, 14.7)  # one half: least, middle, most


def model_lines(breakdown_v, ambient_degc):
    """The .model lines; the suppressor's breakdown at that temperature."""
    bv = breakdown_v * (1 + TEMPERATURE_COEFFICIENT * (ambient_degc - 25))
    return [f".model {name} {text.format(bv=f'{bv:.3f}')}" for name, (text, _) in MODELS.items()]
