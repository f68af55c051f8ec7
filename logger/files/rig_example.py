"""A rig file with every key explained, to copy and fill in."""

EXAMPLE = """\
# A rig: an actuator, the lock mechanism it throws, and how it is wired. Throwbook reads this file.
# Quantities stand in quotes with their unit: "188 mm", "7 3/8 in", "330 lbf", "-10 degC". Any unit will do.
# Lines that begin with "optional" may be left out; 'throwbook rig fit FILE' then says what that leaves unknown.

name = "quarry-loader"
units = "metric"                  # how values are shown: "metric" or "us"

[lock]                            # what has to be moved
needed_travel = "188 mm"          # rod travel of a whole lock throw, measured on the machine
spacing_locked = "600 mm"         # optional: distance between the two mounts after a lock throw ...
spacing_unlocked = "412 mm"       # optional: ... and after an unlock throw; given without needed_travel they replace it
needed_force = "420 N"            # optional: push the whole mechanism needs, clean and warm
excess_goes = "slotted link"      # optional: where stroke beyond the needed travel goes
bears_force = "7000 N"            # optional: push that rod, pins and mounts bear in a stall
lowest_voltage = "11 V"           # optional: lowest supply under load at the machine
coldest = "-10 degC"              # optional: coldest day it has to work

[actuator]                        # from the data sheet or the type plate
voltage = "12 V"                  # nominal
stroke = "200 mm"
rated_force = "1500 N"            # push at full load
no_load_speed = "16 mm/s"
full_load_speed = "11 mm/s"       # optional: without it three quarters of the no-load speed are assumed, and said to be
no_load_current = "0.9 A"
full_load_current = "3.6 A"       # the rated maximum
duty_cycle = 0.25                 # optional: share of time it may run; "25 %" is the same
duty_period = "10 min"            # optional: cycle that share is reckoned over
protection = "IP66"               # optional: the code as printed
extend_locks = true               # optional: false where the rod pulls in to lock

[wiring]                          # optional: the cable from battery to actuator
conductor = "2.5 mm2"             # or "14 AWG"
length_one_way = "6 m"
fuse = "10 A"                     # optional
fuse_type = "blade"               # optional: "blade" or "maxi blade"

[board]                           # optional: the current-sense board
placed_in = "supply"              # "supply": before the reversing switch; "motor": after it
id = "A1B2"                       # optional: as 'throwbook board find' shows it

[limits]                          # optional: limits of this rig's own, each with its reason; without them:
# run_current         80 % of the rated maximum      peak_run_current    the rated maximum
# travel_time_low     85 % of the expected time      travel_time_high    115 % (75 and 125 % when under 10 s)
# supply_under_load   90 % of the nominal voltage    spread_run_current  10 % within a set
# travel_done         85 % of the stroke (75 %)      force_margin        30 % over the worst case
run_current = { value = "2.8 A", reason = "maker's letter of 2026-02-01" }
"""
