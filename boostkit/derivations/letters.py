"""The letters that the derivations share: the same name in the text, in sympy, in Python, in TOML and in CSV headers.

The last pair of numbers is the range in which a letter usually lies; derivations are tried at random points of it.
"""

from math import inf

from boostkit.algebra import letter

# --- source, load and gain ---
v_in = letter("v_in", r"V_{\mathrm{in}}", "V", "source voltage", (3.0, 12.0))
v_out = letter("v_out", r"V_{\mathrm{out}}", "V", "output voltage, mean", (14.0, 60.0))
i_out = letter("i_out", r"I_{\mathrm{out}}", "A", "load current", (0.02, 2.0))
r_load = letter("r_load", "R", "Ω", "load resistance", (5.0, 1000.0), ideal=inf, defined_as="v_out/i_out")
gain = letter("gain", "M", "", "voltage gain", (1.1, 6.0), defined_as="v_out/v_in")

# --- the clock ---
duty = letter("duty", "D", "", "duty: share of the period in which the switch is closed", (0.1, 0.85),
              high=1.0, open_high=True, why="at 1 the switch never opens")
duty_off = letter("duty_off", "D'", "", "share of the period in which the switch is open", (0.1, 0.9),
                  high=1.0, open_low=True, why="at 0 the switch never opens", defined_as="1 - duty")
duty_rectifier = letter("duty_rectifier", "D_2", "", "share of the period in which the rectifier conducts", (0.1, 0.9),
                        high=1.0, open_low=True, why="without it nothing reaches the load")
f_sw = letter("f_sw", "f_s", "Hz", "switching frequency", (2e4, 5e5), open_low=True, ideal=inf)
t_sw = letter("t_sw", "T_s", "s", "switching period", (2e-6, 5e-5), open_low=True, defined_as="1/f_sw")
t = letter("t", "t", "s", "time", (1e-6, 1e-5))

# --- waves ---
f = letter("f", "f", "Hz", "frequency of a wave", (1e1, 1e5), open_low=True)
omega = letter("omega", r"\omega", "1/s", "angle per second of a wave", (1e2, 1e6), open_low=True, defined_as="2*pi*f")
s = letter("s", "s", "1/s", "rate of a swing that goes as e^(st); a wave has s = jω", (1e2, 1e6), open_low=True)

# --- small swings about an operating point ---
duty_swing = letter("duty_swing", r"\delta D", "", "small swing of the duty", (1e-4, 1e-2), low=-1.0)
v_out_swing = letter("v_out_swing", r"\delta V_{\mathrm{out}}", "V", "small swing of the mean output voltage", (1e-3, 0.3), low=-inf)
i_capacitor_swing = letter("i_capacitor_swing", r"\delta I_C", "A", "small swing of the mean current into the output capacitor",
                           (1e-3, 0.3), low=-inf)
slope_voltage_swing = letter("slope_voltage_swing", r"\mathrm{d}\delta V_{\mathrm{out}}/\mathrm{d}t", "V/s",
                             "slope of the swing of the output voltage", (1e1, 1e4), low=-inf)

# --- parts ---
inductance = letter("inductance", "L", "H", "inductance of the coil", (5e-6, 5e-4), open_low=True, ideal=inf)
r_inductor = letter("r_inductor", "R_L", "Ω", "resistance of the winding", (0.005, 0.3), ideal=0.0)
r_switch = letter("r_switch", r"R_{\mathrm{on}}", "Ω", "resistance of the closed switch", (0.005, 0.2), ideal=0.0)
v_rectifier = letter("v_rectifier", "V_F", "V", "forward voltage of the rectifier", (0.2, 1.0), ideal=0.0)
r_rectifier = letter("r_rectifier", "R_D", "Ω", "resistance of the rectifier", (0.005, 0.2), ideal=0.0)
capacitance = letter("capacitance", "C", "F", "output capacitance", (1e-6, 1e-3), open_low=True, ideal=inf)
r_capacitor = letter("r_capacitor", "R_C", "Ω", "series resistance of the output capacitor (ESR)", (0.002, 0.2),
                     ideal=0.0)
r_source = letter("r_source", r"R_{\mathrm{src}}", "Ω", "internal resistance of the source", (0.01, 1.0), ideal=0.0)
c_input = letter("c_input", r"C_{\mathrm{in}}", "F", "input capacitance", (1e-6, 1e-3), open_low=True)
r_input_capacitor = letter("r_input_capacitor", r"R_{C,\mathrm{in}}", "Ω",
                           "series resistance of the input capacitor (ESR)", (0.002, 0.2), ideal=0.0)

# --- the coil within one period ---
v_inductor_on = letter("v_inductor_on", r"v_{L,\mathrm{on}}", "V", "voltage across the coil, switch closed",
                       (3.0, 12.0), low=-inf)
v_inductor_off = letter("v_inductor_off", r"v_{L,\mathrm{off}}", "V", "voltage across the coil, switch open",
                        (-50.0, -2.0), low=-inf)
v_winding = letter("v_winding", r"v_{R_L}", "V", "voltage across the resistance of the winding", (0.01, 0.5))
v_switch_on = letter("v_switch_on", r"v_{S,\mathrm{on}}", "V", "voltage across the closed switch", (0.01, 0.5))
v_rectifier_on = letter("v_rectifier_on", r"v_{D,\mathrm{on}}", "V", "voltage across the conducting rectifier",
                        (0.1, 1.2))
slope_rise = letter("slope_rise", "m_1", "A/s", "slope of the coil current, switch closed", (1e4, 1e6), low=-inf)
slope_fall = letter("slope_fall", "m_2", "A/s", "slope of the coil current, rectifier conducting", (-1e6, -1e4),
                    low=-inf)
i_inductor = letter("i_inductor", "i_L", "A", "coil current at an instant", (0.1, 10.0), low=-inf)
i_inductor_mean = letter("i_inductor_mean", "I_L", "A", "coil current, mean", (0.1, 10.0), low=-inf)
i_inductor_max = letter("i_inductor_max", r"I_{L,\mathrm{max}}", "A", "coil current, highest", (2.0, 12.0))
i_inductor_min = letter("i_inductor_min", r"I_{L,\mathrm{min}}", "A", "coil current, lowest", (0.1, 2.0), low=-inf)
ripple_current = letter("ripple_current", r"\Delta i_L", "A", "coil current, peak to peak", (0.05, 3.0))
k_load = letter("k_load", "K", "", "load number: how large the mean of the coil current is against its ripple",
                (0.01, 2.0), open_low=True, defined_as="2*inductance/(r_load*t_sw)")
k_critical = letter("k_critical", r"K_{\mathrm{crit}}", "", "load number at which the coil current just touches zero",
                    (0.01, 0.15))

i_rectifier_open = letter("i_rectifier_open", r"I_{D,\mathrm{open}}", "A",
                          "current of the rectifier, mean over the time in which the switch is open", (0.1, 10.0))

# --- the output capacitor within one period ---
i_capacitor_on = letter("i_capacitor_on", r"i_{C,\mathrm{on}}", "A", "current into the capacitor, switch closed",
                        (-2.0, -0.02), low=-inf)
i_capacitor_off = letter("i_capacitor_off", r"i_{C,\mathrm{off}}", "A", "mean current into the capacitor, switch open",
                         (0.1, 8.0), low=-inf)
i_capacitor_rms = letter("i_capacitor_rms", r"I_{C,\mathrm{rms}}", "A", "current of the output capacitor, rms",
                         (0.05, 5.0))
slope_voltage = letter("slope_voltage", "s_C", "V/s", "slope of the capacitor voltage, switch closed", (-1e5, -1e2),
                       low=-inf)
sag = letter("sag", r"\Delta v_{\mathrm{sag}}", "V",
             "fall of the voltage on the output capacitance itself while the switch is closed", (0.001, 0.5))
ripple_voltage = letter("ripple_voltage", r"\Delta v_{\mathrm{out}}", "V", "output voltage, peak to peak", (0.005, 1.0))

# --- what switch and rectifier must bear ---
v_switch_peak = letter("v_switch_peak", r"V_{S,\mathrm{max}}", "V", "voltage across the open switch", (14.0, 60.0))
v_rectifier_peak = letter("v_rectifier_peak", r"V_{D,\mathrm{max}}", "V", "reverse voltage across the rectifier",
                          (14.0, 60.0))
i_switch_mean = letter("i_switch_mean", r"I_S", "A", "current of the switch, mean", (0.05, 8.0))
i_switch_rms = letter("i_switch_rms", r"I_{S,\mathrm{rms}}", "A", "current of the switch, rms", (0.05, 8.0))
i_rectifier_mean = letter("i_rectifier_mean", "I_D", "A", "current of the rectifier, mean", (0.02, 2.0))
i_rectifier_rms = letter("i_rectifier_rms", r"I_{D,\mathrm{rms}}", "A", "current of the rectifier, rms", (0.05, 5.0))

# --- the edges of switching ---
t_rise = letter("t_rise", "t_r", "s", "time in which the closing switch carries voltage and current", (5e-9, 1e-7))
t_fall = letter("t_fall", "t_f", "s", "time in which the opening switch carries voltage and current", (5e-9, 1e-7))
p_closing = letter("p_closing", r"p_{\mathrm{on}}", "W", "power in the closing switch at an instant", (1.0, 100.0))
p_opening = letter("p_opening", r"p_{\mathrm{off}}", "W", "power in the opening switch at an instant", (1.0, 100.0))
energy_closing = letter("energy_closing", r"E_{\mathrm{on}}", "J", "energy lost in one closing", (1e-8, 1e-5))
energy_opening = letter("energy_opening", r"E_{\mathrm{off}}", "J", "energy lost in one opening", (1e-8, 1e-5))
p_overlap = letter("p_overlap", r"P_{\mathrm{overlap}}", "W", "power lost where voltage and current overlap",
                   (0.01, 5.0))
c_switch = letter("c_switch", r"C_{\mathrm{oss}}", "F", "capacitance across the switch", (2e-11, 1e-9))
energy_charge = letter("energy_charge", r"E_{\mathrm{oss}}", "J", "energy in the capacitance of the open switch",
                       (1e-8, 1e-5))
p_charge = letter("p_charge", r"P_{\mathrm{oss}}", "W", "power lost in discharging that capacitance", (0.001, 2.0))
q_gate = letter("q_gate", r"Q_g", "C", "charge that the gate takes", (1e-9, 1e-7))
v_drive = letter("v_drive", r"V_{\mathrm{drive}}", "V", "voltage of the gate driver", (4.5, 12.0))
energy_gate = letter("energy_gate", "E_g", "J", "energy to charge the gate once", (1e-8, 1e-6))
p_gate = letter("p_gate", "P_g", "W", "power taken by the gate", (0.001, 0.5))

# --- energy ---
energy_max = letter("energy_max", r"E_{\mathrm{max}}", "J", "energy in the field at the highest current", (1e-5, 1e-3))
energy_min = letter("energy_min", r"E_{\mathrm{min}}", "J", "energy in the field at the lowest current", (1e-7, 1e-5))
energy_swing = letter("energy_swing", r"\Delta E", "J", "energy that enters and leaves the field in one period",
                      (1e-6, 1e-3))
energy_out = letter("energy_out", r"E_{\mathrm{out}}", "J", "energy handed to the output in one period", (1e-6, 1e-3))
energy_field = letter("energy_field", r"E_{\mathrm{field}}", "J", "part of it that comes out of the field",
                      (1e-6, 1e-3))
energy_straight = letter("energy_straight", r"E_{\mathrm{straight}}", "J",
                         "part of it that comes straight from the source", (1e-6, 1e-3))
charge_out = letter("charge_out", r"Q_{\mathrm{out}}", "C", "charge through the rectifier in one period", (1e-7, 1e-4))
share_field = letter("share_field", r"s_{\mathrm{field}}", "",
                     "share of the output energy that passed through the field", (0.1, 0.9))
share_straight = letter("share_straight", r"s_{\mathrm{straight}}", "",
                        "share of the output energy that came straight from the source", (0.1, 0.9))
p_out = letter("p_out", r"P_{\mathrm{out}}", "W", "output power, mean", (0.3, 100.0))
i_saturation = letter("i_saturation", r"I_{\mathrm{sat}}", "A", "current at which the core saturates", (0.5, 20.0))
turns = letter("turns", "N", "", "turns of the winding", (5.0, 50.0))
flux_density_saturation = letter("flux_density_saturation", r"B_{\mathrm{sat}}", "T",
                                 "flux density at which the core saturates", (0.2, 0.5))
area_core = letter("area_core", "A_e", "m²", "cross-section of the core", (1e-5, 4e-4))
energy_core = letter("energy_core", r"E_{\mathrm{core}}", "J", "most energy that the coil can store", (1e-5, 1e-1))

# --- wound parts ---
mu_0 = letter("mu_0", r"\mu_0", "H/m", "permeability of empty space", (1.2e-6, 1.3e-6),
              open_low=True, defined_as="1.25663706e-6")   # CODATA 2022, to nine digits
resistivity = letter("resistivity", r"\rho", "Ω·m", "resistivity of the wire as warm as it is", (1.6e-8, 2.6e-8), open_low=True)
flux_swing = letter("flux_swing", r"\Delta B", "T", "swing of the flux density, peak to peak", (0.005, 0.2))
p_copper = letter("p_copper", r"P_{\mathrm{cu}}", "W", "heat of the winding", (0.05, 5.0), open_low=True)
core_alpha = letter("core_alpha", r"\alpha", "", "power of frequency with which core loss grows at a given swing", (1.1, 1.8))
core_beta = letter("core_beta", r"\beta", "", "power of swing with which core loss grows at a given frequency", (2.1, 2.9))
f_reference = letter("f_reference", "f_0", "Hz", "frequency at which the losses are known", (2e4, 5e5), open_low=True)
p_core = letter("p_core", r"P_{\mathrm{core}}", "W", "loss of the core", (0.001, 1.0))
p_core_reference = letter("p_core_reference", r"P_{\mathrm{core0}}", "W", "loss of the core at the known frequency", (0.001, 1.0))
