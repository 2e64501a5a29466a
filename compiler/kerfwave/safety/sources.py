"""Where the numbers come from, worded once. "From memory" is said where no page of the source was at hand."""

from __future__ import annotations

CLASSES = "IEC 60825-1; 21 CFR 1040.10"
PRODUCT_CLASS = "IEC 60825-1, from memory"
EXPOSURE = "IEC TR 60825-14 exposure tables; directive 2006/25/EC annex (ICNIRP values)"
APERTURE = "ANSI Z136.1 worked example, 7 mm aperture; " + EXPOSURE
DENSITY = "guidance to EN 207: log10 of exposure over limit, rounded up; " + APERTURE
SCALE = "EN 207:2017 scale numbers, mode D, 315 to 1400 nm, 1 mm beam (superseded by ISO 19818-1:2021)"
HAZARD_DISTANCE = "ANSI Z136.1 / IEC TR 60825-14 NOHD formula; lens-on-laser form from memory"
DIFFUSE = "Lambert's law as laser safety courses print it; reflectance 1 assumed; " + EXPOSURE
GUARDS = "IEC 60825-4, scope"
BED = "common practice; bare aluminium 0.918 at 500 nm from a mirror data sheet, no figure found for zinc or steel"
LASER_POLICY = "laser policies of several universities and makerspaces"

FIRE_WATCH = (
    "29 CFR 1910.252(a)(2)(iii)(B): at least 30 min; NFPA 51B 2019 5.6.1.1: 1 h; rules for industrial hot work, "
    "taken here as an analogue"
)
EXTINGUISHER = "fire pages of two city fire departments: class A fires; laser laboratory practice"
HOT_WORK = "29 CFR 1910.252(a)(2)(iii): combustibles within 35 ft of hot work"
IGNITION = "Fire Science Reviews 2:4, table 1: pyrolysis of wood with flame from 225 to 275 °C"
PRACTICE = "common practice"  # a rule of the trade; MEMORY: one that no page at hand confirms
MEMORY = "common practice, from memory"

KERF_MASS = "kerf × thickness × density × length; density as the stock states it"
STOVE_PM = (
    "assumed: wood-stove particle factors (review in Particle and Fibre Toxicology 6:29) to a paperboard laser cutter "
    "(Jeong et al. 2024, doi 10.1016/j.envpol.2024.124425); no figure for this laser and plywood was found"
)
STOVE_CO = (
    "assumed: conventional wood stove, US EPA AP-42 section 1.10, from memory; no figure for this laser was found"
)
STOVE_HCHO = "assumed: top of the fireplace range, Environ. Sci. Technol. 18(5) 1984, doi 10.1021/es00123a007"
GLUE_FUME = "BioResources 7(4) 2012 p. 4600: urea-formaldehyde boards give off isocyanic acid and ammonia when heated"
WHO_PM = "WHO air quality guidelines 2021: 15 µg/m³ as a 24 h mean"
WHO_CO = "WHO air quality guidelines for Europe 2000"
WHO_CO_DAY = "WHO air quality guidelines 2021: 4 mg/m³ as a 24 h mean"
WHO_HCHO = "WHO indoor air guidelines 2010: 0.1 mg/m³ as a 30 min mean, limit from memory"
DILUTION = "dilution equation of industrial hygiene with mixing factor K = 3 (building-services journal: 2 to 5)"
AIR_CHANGES = "Du and Batterman 2012, IJERPH 9:4639: median 0.57 per hour in living areas of 126 houses"
HOOD = "capture velocities: agency appendix after Heating and Ventilation 42:5, 1945; Dalla Valle form of the hood law"
BOX = "continuity, 0.5 m/s (100 ft/min) into every gap as 29 CFR 1910.252(c) asks at the work"
DUCT = "duct velocity lists: smoke 5 to 10 m/s, target 10 m/s (agency appendix; local-exhaust laboratory sheet)"
DARCY = "Darcy-Weisbach; friction 0.04 for flexible duct, bends and exit K = 2.5, from memory"
ORIFICE = "orifice law, discharge coefficient 0.6, from memory; 5 Pa below outdoors"
BACKDRAFT = "range-hood supplement of a home-safety programme; state leaflet on make-up air: 3 to 5 Pa can be enough"
FILTERS = (
    "Jeong et al. 2024: a purifier cut particles but neither formaldehyde nor vapours; "
    "what carbon does to these gases: from memory"
)
SKIN = "Lambert's law; skin limit of ANSI Z136.1 and ICNIRP, 400 to 700 nm, from memory"
CO_ALARM = "UL 2034 alarm advice; EN 50291, from memory"
RE_ENTRY = "ventilation guidance: do not draw the exhaust back in; the rest common practice, from memory"

NIOSH_NOISE = "NIOSH recommended exposure limit: 85 dB(A) for 8 h, 3 dB exchange rate"
OSHA_NOISE = "29 CFR 1910.95 appendix A, table G-16a"
LEISURE = "WHO-ITU H.870: 80 dB(A) for 40 h a week"
LEISURE_CHILDREN = "WHO-ITU H.870, sensitive listeners: 75 dB(A) for 40 h a week, from memory"

TOUCH = "IEC 60364 extra-low voltage, from memory"
RCD = "HSE advice on residual-current devices of 30 mA; the rest common practice, from memory"
JOULE = "P = V²/R with the voice coil's direct-current resistance: the driver never takes more"
IMPLANT = "FDA advice: at least 6 in (15 cm) between strong magnets and implants"
MAGNETS = "magnet safety pages"
HOT_GLUE = "craft safety pages: about 193 °C for high-temperature guns, burns from about 71 °C"
LEAD = "solder safety guidance page; hygiene rules from memory"
ROSIN = "common practice, from memory: rosin (colophony) fume is a known cause of asthma"
DUST = "NIOSH recommended exposure limit for wood dust"
