"""How much of its fitting's temperature a probe reads, and how late: a textbook calculation, and the tables of PROBES.md: python hardware/fin.py

An independent check of hotfuel.temperature.accuracy.placement_share: deliberately with another film correlation and another tip condition.
Fin with convection at its tip: Incropera and DeWitt, Fundamentals of Heat and Mass Transfer, table 3.4, case A. Film on a cylinder in cross flow: Hilpert's
constants, same book, table 7.2, with Pr^(1/3). Both from memory; the test holds them against the other calculation.
"""

import math

# Gasoline: density EN 228, the rest handbook values (uncertain to 10 to 30 %); stainless sheath with mineral filling
DENSITY_KG_M3, VISCOSITY_PA_S, CP_J_KG_K, CONDUCTIVITY_W_M_K = 740.0, 0.0005, 2100.0, 0.12
SHEATH_W_M_K = 16.0
SHEATH_J_M3_K = 3.5e6  # steel 3.9, pressed magnesia about 2.5 to 3 (from memory)
FILLING_W_M_K = 2.2  # pressed magnesia 2 to 3 (from memory); this one fits makers' response times in water
HILPERT = ((4, 0.989, 0.330), (40, 0.911, 0.385), (4000, 0.683, 0.466), (40000, 0.193, 0.618))  # up to Re, C, m
IDLE_L_H, FULL_L_H, BORE_M = 4.0, 60.0, 0.009525


def film_w_m2_k(sheath_m, flow_l_h, bore_m=BORE_M):
    """Film coefficient on the sheath, fuel flowing across it in a line of that bore."""
    speed = flow_l_h / 3.6e6 / (math.pi / 4 * bore_m**2)
    reynolds = DENSITY_KG_M3 * speed * sheath_m / VISCOSITY_PA_S
    prandtl = CP_J_KG_K * VISCOSITY_PA_S / CONDUCTIVITY_W_M_K
    c, m = next((c, m) for most, c, m in HILPERT if reynolds <= most)
    return c * reynolds**m * prandtl ** (1 / 3) * CONDUCTIVITY_W_M_K / sheath_m


def stem_share(sheath_m, depth_m, flow_l_h, bore_m=BORE_M):
    """Share of (fitting - fuel) that the tip reads. Example: stem_share(0.0016, 0.010, 4.0) -> about 0.1."""
    film = film_w_m2_k(sheath_m, flow_l_h, bore_m)
    m = math.sqrt(4 * film / (SHEATH_W_M_K * sheath_m))
    return 1 / (math.cosh(m * depth_m) + film / (m * SHEATH_W_M_K) * math.sinh(m * depth_m))


def lag_s(sheath_m, flow_l_h, bore_m=BORE_M, insulated=True):
    """How far behind a steady ramp it reads, s: rho c D / (4 h) for the film, and inside an insulated junction's sheath rho c D^2 / (16 k)."""
    film = SHEATH_J_M3_K * sheath_m / (4 * film_w_m2_k(sheath_m, flow_l_h, bore_m))
    return film + (SHEATH_J_M3_K * sheath_m**2 / (16 * FILLING_W_M_K) if insulated else 0.0)


SHEATHS_MM = (1.0, 1.6, 3.2)
DEPTHS_MM = (5, 10, 15, 30)


def stem_rows():
    """(sheath mm, depth mm, per cent at idle flow, per cent at full flow)."""
    return [
        (sheath, depth, *(100 * stem_share(sheath / 1000, depth / 1000, flow) for flow in (IDLE_L_H, FULL_L_H)))
        for sheath in SHEATHS_MM
        for depth in DEPTHS_MM
    ]


def lag_rows():
    """(sheath mm, s at idle flow, s at full flow, insulated junction; the same welded to the sheath)."""
    return [
        (sheath, *(lag_s(sheath / 1000, flow, insulated=kind) for kind in (True, False) for flow in (IDLE_L_H, FULL_L_H)))
        for sheath in SHEATHS_MM
    ]


if __name__ == "__main__":
    for row in stem_rows():
        print("| {:.1f} mm | {} mm | {:.1f} % | {:.1f} % |".format(*row))
    for row in lag_rows():
        print("| {:.1f} mm | {:.1f} s | {:.1f} s | {:.1f} s | {:.1f} s |".format(*row))
