"""Where each published check comes from, the product's function it runs through, and the command that reaches that.

    python -m tests.sources

prints the table. A check of a function that no command reaches proves nothing that a person reads; ``test_sources``
walks the table and fails on one. Reached is what the names in the source lead to, from a command's function on: a name
leads to what it is defined or imported as, an attribute to every method called so. Nothing is run.

"own" marks an example worked out here, "from memory" a value nobody could look up.
"""

import ast
import re
import sys
from collections.abc import Iterator
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path

import click

ROOT = Path(__file__).parent.parent
SKETCHES = ROOT / "firmware-sketches"


@dataclass(frozen=True)
class Published:
    """One published check."""

    id: str
    source: str
    test: str
    """File under ``tests`` and test function."""
    function: str
    """Module and name; or a file of the sketches and the name in it."""
    command: str
    """As it is typed; for the sketches the sketch."""


_W = "core/machine/test_wiring.py::test_"
_WIRE, _RATING = "throwbook.core.machine.electrical:", "throwbook.core.machine.motor:"
_MOTOR, _DUTY, _IP = (
    "core/machine/test_rating.py::test_",
    "core/machine/test_duty.py::test_",
    "core/machine/test_protection.py::test_",
)
_U, _UNC = "core/quantities/test_uncertainty.py::test_", "throwbook.core.quantities.statistics:"
_SERIES, _SEASONS = "core/trend/test_check_values_series.py::test_", "throwbook.core.trend."
_SCREW, _SIM = "core/simulator/test_screw.py::test_", "throwbook.core.simulator.machine:"
_HEADERS = "firmware/test_headers.py::test_"
_NIST = "NIST/SEMATECH e-Handbook of Statistical Methods"
_BOOK = "Applied Statistics and Probability for Engineers, 3rd ed."
_RISE = "core/trend/test_rise.py::test_"
_FUSE = "data sheet quoting ISO 8820-3, second hand from a public design file"

TABLE: tuple[Published, ...] = (
    Published("CU-1", "ASTM B258, rule of diameters", _W + "cu_1_gauge_to_diameter", _WIRE + "awg_diameter_m", "rig fit"),
    Published("CU-2", "hyperphysics.gsu.edu, wire gauge table", _W + "cu_2_solid_copper", _WIRE + "copper_ohm_per_m", "rig fit"),
    Published("CU-3", "NFPA 70 (NEC), chapter 9, table 8, solid, 75 degC", _W + "cu_3_copper_at_75_degrees", _RATING + "copper_at", "assess"),
    Published("CU-3", "the same, stranded", _W + "cu_3_a_stranded_gauge_is_never_better_than_the_table", _WIRE + "ohm_per_m", "rig fit"),
    Published("CU-4", "IEC 60228, class 5, 20 degC, by three public tables", _W + "cu_4_iec_tables", _WIRE + "ohm_per_m", "rig fit"),
    Published("CU-5", "IEC 60228, temperature factors, by a cable maker's table", _W + "cu_5_temperature_factor", _RATING + "copper_at", "assess"),
    Published("CU-6", "own, on CU-4", _W + "cu_6_worked_drop", "throwbook.core.sizing.sizing:fit", "rig fit"),
    Published("FUS-1", _FUSE + ", 35 and 40 A", _W + "fus_1_to_4_the_points_of_a_fuse_are_the_printed_ones", _WIRE + "fuse_time", "rig fit"),
    Published("FUS-2", _FUSE + ", 10 A", _W + "fus_2_ten_ampere_fuse", _WIRE + "fuse_time", "rig fit"),
    Published("FUS-3", _FUSE + ", large blade 40 A", _W + "fus_1_to_3_between_two_points_neither_is_drawn", _WIRE + "fuse_time", "rig fit"),
    Published("FUS-4", "ISO 8820-3:2015, small ratings (from memory)", _W + "fus_1_to_4_the_points_of_a_fuse_are_the_printed_ones", _WIRE + "fuse_time", "rig fit"),
    Published("FUS-5", "public guide to fuses, circuitprotection.ca, continuous load at 25 degC", _W + "fus_5_continuous_load", _WIRE + "CONTINUOUS_SHARE", "rig fit"),
    Published("FUS-6", "own, on FUS-2", _W + "fus_6_a_stall_may_sit_for_many_seconds", _WIRE + "fuse_time", "rig fit"),
    Published("NEC-1", "NFPA 70 (NEC), 2017 and later, 240.4(D)(1) to (7), by two public tables", _W + "nec_1_largest_fuse_of_a_gauge", _WIRE + "largest_fuse_a", "rig fit"),
    Published("MOT-1", "three measured student motors, lancet.mit.edu/motor", _MOTOR + "mot_1_most_power_at_half_stall_torque", _RATING + "motor_line", "rig fit"),
    Published("MOT-2", "course exercise, inputs read, results recomputed", _MOTOR + "mot_2_course_exercise", _RATING + "stall_current", "rig fit"),
    Published("MOT-2", "the same, through the simulated machine", "core/simulator/test_machine.py::test_mot_2_steady_running_of_a_published_motor", "throwbook.core.simulator.machine:MachineModel.steady", "samples"),
    Published("MOT-3", "course exercise, inputs read, results recomputed", _MOTOR + "mot_3_course_exercise", _RATING + "speed_at", "board calibrate"),
    Published("SCR-1", "Shigley's Mechanical Engineering Design, Ex. 8-1 (from memory)", _SCREW + "scr_1_torque_to_raise", _SIM + "raising_torque_nm", "samples"),
    Published("SCR-1", "the same", _SCREW + "scr_1_torque_to_lower", _SIM + "lowering_torque_nm", "samples"),
    Published("SCR-1", "the same, without its collar", _SCREW + "scr_1_efficiency_without_collar", _SIM + "raising_torque_nm", "samples"),
    Published("SCR-2", "Machine Elements in Mechanical Design, 4th ed., Ex. 17-1", _SCREW + "scr_2_acme_thread_as_a_square_one_with_more_friction", _SIM + "raising_torque_nm", "samples"),
    Published("SCR-3", "textbook condition, on SCR-1", _SCREW + "scr_3_self_locking_condition", _SIM + "lowering_torque_nm", "samples"),
    Published("IP-1", "IEC 60529 (1989, A1, A2:2013), by public summaries", _IP + "ip_1_first_numeral", "throwbook.core.machine.electrical:SOLIDS", "rig fit"),
    Published("IP-2", "the same", _IP + "ip_2_second_numeral", "throwbook.core.machine.electrical:WATER", "rig fit"),
    Published("IP-3", "the same", _IP + "ip_3_immersion_does_not_include_jets", "throwbook.core.machine.electrical:read_code", "rig fit"),
    Published("IP-4", "follows; IP69K of ISO 20653 from memory", _IP + "ip_4_codes_in_words", "throwbook.core.machine.electrical:read_code", "rig fit"),
    Published("DUT-2", "IEC 60034-1, by a public summary", _DUTY + "dut_2_cyclic_duration_factor", "throwbook.core.machine.electrical:rest_for", "rig fit"),
    Published("DUT-2", "the same", _DUTY + "dut_2_cyclic_duration_factor", "throwbook.core.machine.electrical:running_share", "import"),
    Published("DUT-3", "makers' notes (in the standard itself: from memory)", _DUTY + "dut_3_default_cycle", "throwbook.core.machine.electrical:throws_in_a_row", "rig fit"),
    Published("UNC-2", "JCGM 100:2008, 4.3.7 and F.2.2.1", _U + "unc_2_resolution", _UNC + "from_half_width", "enter"),
    Published("UNC-4", "Am. J. Phys. 87(2) 110 (2019), 4304 timings", _U + "unc_3_and_4_hand_timing", _UNC + "hand_timed", "enter"),
    Published("UNC-5", "own, on UNC-2 and UNC-4", _U + "unc_5_a_stroke_timed_by_hand", "throwbook.core.sheets.hand_readings:timed", "enter"),
    Published("UNC-7", "JCGM 100:2008, 4.2.3, worked by hand", _U + "type_a_is_the_spread_over_the_root_of_n", _UNC + "type_a", "board bench"),
    Published("MCM-1", "JCGM 101:2008, 9.2.3 (from memory; closed form)", _U + "mcm_1_four_rectangles", _UNC + "interval_of", "rig fit"),
    Published("MCM-2", "own, closed form", _U + "mcm_2_an_interval_of_what_bends_is_wider_above", _UNC + "interval_of", "rig fit"),
    Published("DEC-1", "ILAC-G8:09/2019, example after ISO 14253-1", _U + "dec_1_guard_band", "throwbook.core.machine.limits:decide", "assess"),
    Published("DEC-2", "ILAC-G8:09/2019, JCGM 106", _U + "dec_2_false_accept_risk", _UNC + "false_accept_risk", "sheet accept"),
    Published("EWMA-1", f"{_NIST}, 6.3.2.4", _SERIES + "ewma_1_all_twenty_printed_values", _SEASONS + "control_chart:ewma", "trend"),
    Published("EWMA-2", f"{_NIST}, 6.3.2.4", _SERIES + "ewma_2_asymptotic_limits_and_nothing_out_of_control", _SEASONS + "control_chart:ewma_limit", "trend"),
    Published("EWMA-3", "own, on EWMA-1", _SERIES + "ewma_3_limits_that_widen_with_time", _SEASONS + "control_chart:ewma_limit", "trend"),
    Published("CUS-1", f"{_NIST}, 6.3.2.3", _SERIES + "cus_1_first_signal_at_fourteen", _SEASONS + "control_chart:cusum", "trend"),
    Published("CUS-2", f"{_BOOK}, Ex. 16-6, Table 16-8", _SERIES + "cus_2_all_forty_printed_sums", _SEASONS + "control_chart:cusum", "trend"),
    Published("CUS-3", f"{_NIST}, 6.3.2.3.1 (from memory)", _SERIES + "cus_3_how_often_the_limit_is_passed_by_chance", _SEASONS + "control_chart:CUSUM_LIMIT", "trend"),
    Published("MK-1", "course note, a Mann-Kendall example by hand, mathcs.holycross.edu", _SERIES + "mk_1_by_hand", _SEASONS + "forecast:mann_kendall", "trend"),
    Published("MK-2", "two libraries that agree, on MK-1", _SERIES + "mk_2_the_libraries_agree", _SEASONS + "forecast:theil_sen", "trend"),
    Published("MK-3", "exact count of permutations", _SERIES + "mk_3_the_whole_exact_table", _SEASONS + "forecast:exact_tail", "trend"),
    Published("MK-4", "Gilbert 1987, by a statistics help page", _SERIES + "mk_4_exact_up_to_ten_values_and_normal_above", _SEASONS + "forecast:mann_kendall", "trend"),
    Published("WEL-1", "textbook exercise on two arsenic methods", _SERIES + "wel_1_summary_input", _SEASONS + "maintenance_effect:compare", "trend"),
    Published("WEL-2", f"{_BOOK}, Ex. 10-6 (printed result from memory)", _SERIES + "wel_2_a_fall", _SEASONS + "maintenance_effect:compare", "trend"),
    Published("WEL-3", "PMC127524, Table 5", _SERIES + "wel_3_the_welch_satterthwaite_degrees_of_freedom", _SEASONS + "maintenance_effect:compare", "trend"),
    Published("PRE-1", "any table of Student's t", _SERIES + "prediction_factor_knows_the_number_of_throws", "throwbook.core.quantities.statistics:prediction_factor", "assess"),
    Published("REG-1", "NIST StRD, linear regression, Norris", _RISE + "reg_1_norris_straight_line", _SEASONS + "change_test:learn", "trend"),
    Published("REG-2", "NIST StRD, linear regression, Pontius", _RISE + "reg_2_pontius_quadratic", _SEASONS + "change_test:learn", "trend"),
    Published("REG-3", f"{_BOOK}, Table 11-2", _RISE + "reg_3_and_4_oxygen_purity_with_its_intervals", _SEASONS + "change_test:learn", "trend"),
    Published("CHG-1", "Nile at Aswan 1871-1970, public domain; the year from memory", _RISE + "chg_1_the_nile_shift_of_1898", _SEASONS + "change_test:evidence", "trend"),
    Published("REG-1", "NIST StRD, linear regression, Norris", "core/analysis/test_calibration.py::test_reg_1_the_published_fit_of_norris_comes_out", "throwbook.core.analysis.calibration:fit_calibration", "board calibrate"),
    Published("CRC", "CRC catalogue (RevEng), CRC-16/IBM-3740", "protocol/test_framing.py::test_the_crc_has_the_published_check_value", "throwbook.protocol.framing:frame", "record"),
    Published("CRC", "the same", _HEADERS + "published_values_come_out_exactly", "common/crc16.h:crc16", "shunt_monitor"),
    Published("CRC-8", "application note 27 of the maker of the DS18B20, example 2; CRC catalogue (RevEng), CRC-8/MAXIM-DOW", _HEADERS + "published_values_come_out_exactly", "common/one_wire.h:crc8", "shunt_monitor"),
    Published("INA219", "data sheet SBOS448F, table 3", _HEADERS + "published_values_come_out_exactly", "common/ina_registers.h:ina_calibration", "shunt_monitor"),
    Published("INA226", "data sheet SBOS547, table 1", _HEADERS + "published_values_come_out_exactly", "common/ina_registers.h:ina_bus_counts", "shunt_monitor"),
    Published("HALL-1", "data sheet of the 185/100/66 mV/A Hall sensors", _HEADERS + "hall_1_the_5_a_type_at_5_v", "common/hall.h:hall_counts", "hall_sensor"),
    Published("HALL-2", "own, on HALL-1", _HEADERS + "hall_2_a_supply_of_4_8_v_moves_neither_zero_nor_gain", "common/hall.h:hall_amp_lsb_ua", "hall_sensor"),
    Published("SHA-256", "FIPS 180-4, example abc", "core/test_seal.py::test_sha_256_gives_the_published_digest", "throwbook.logbook.seals:content_id", "import"),
)  # fmt: skip


@dataclass
class Names:
    """What a module defines and what it calls things."""

    defines: dict[str, ast.AST] = field(default_factory=dict)
    imports: dict[str, str] = field(default_factory=dict)
    """Local name: module, or module and name with a colon between."""


@cache
def modules() -> dict[str, Names]:
    """Every module of the product and of the tests."""
    found = {}
    for top, package in (("logger", "throwbook"), ("tui", "throwbook_tui"), ("", "tests")):
        for path in (ROOT / top / package).rglob("*.py"):
            parts = path.relative_to(ROOT / top).with_suffix("").parts
            name = ".".join(parts[:-1] if parts[-1] == "__init__" else parts)
            found[name] = _names(ast.parse(path.read_text(encoding="utf-8")))
    return found


def _names(tree: ast.Module) -> Names:
    names = Names()
    for node in tree.body:
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef):
            names.defines[node.name] = node
        if isinstance(node, ast.ClassDef):
            names.defines |= {
                f"{node.name}.{each.name}": each
                for each in node.body
                if isinstance(each, ast.FunctionDef | ast.AsyncFunctionDef)
            }
        if isinstance(node, ast.Assign | ast.AnnAssign):
            targets = node.targets if isinstance(node, ast.Assign) else [node.target]
            names.defines |= {each.id: node for each in targets if isinstance(each, ast.Name)}
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            names.imports |= {each.asname or each.name: each.name for each in node.names}
        if isinstance(node, ast.ImportFrom) and node.module:
            names.imports |= {each.asname or each.name: f"{node.module}:{each.name}" for each in node.names}
    return names


@cache
def methods() -> dict[str, tuple[str, ...]]:
    """Every method of the product by its bare name."""
    found: dict[str, tuple[str, ...]] = {}
    for module, names in modules().items():
        for name in names.defines if not module.startswith("tests") else ():
            _, dot, bare = name.partition(".")
            if dot:
                found[bare] = (*found.get(bare, ()), f"{module}:{name}")
    return found


def _defined(node: str) -> str | None:
    """The node itself, or where a module that only passes it on has it from."""
    for _ in range(5):
        module, _, name = node.partition(":")
        names = modules().get(module)
        if names is None:
            return None
        if not name or name in names.defines:
            return node
        if f"{module}.{name}" in modules():
            return f"{module}.{name}"
        if name not in names.imports:
            return None
        node = names.imports[name]
    return None


@cache
def _leads_to(node: str) -> tuple[str, ...]:
    return tuple({found: None for found in (_defined(each) for each in _named_in(node)) if found})


def _named_in(node: str) -> Iterator[str]:
    module, _, name = node.partition(":")
    names = modules()[module]
    if not name:
        return
    body = names.defines[name]
    parts: list[ast.AST] = [body]
    if isinstance(
        body, ast.ClassDef
    ):  # a class that is made runs what has no call of its own, not every method
        parts = [each for each in body.body if not isinstance(each, ast.FunctionDef) or each.name[:2] == "__"]
        parts += [*body.bases, *body.decorator_list]
    for each in (inner for part in parts for inner in ast.walk(part)):
        if isinstance(each, ast.Name):
            if each.id in names.defines:
                yield f"{module}:{each.id}"
            elif each.id in names.imports:
                yield names.imports[each.id]
        elif isinstance(each, ast.Attribute):
            if isinstance(each.value, ast.Name) and each.value.id in names.imports:
                yield f"{names.imports[each.value.id].replace(':', '.')}:{each.attr}"
            yield from methods().get(each.attr, ())


@cache
def reached(start: str) -> frozenset[str]:
    """Every definition that the names in ``start`` lead to, itself among them."""
    seen: set[str] = set()
    left = [start] if _defined(start) else []
    while left:
        node = left.pop()
        if node not in seen:
            seen.add(node)
            left += _leads_to(node)
    return frozenset(seen)


def command_node(command: str) -> str:
    """The function behind a command as it is typed. Raises KeyError where there is none."""
    from throwbook.cli.main import throwbook

    found: click.Command = throwbook
    for word in command.split():
        assert isinstance(found, click.Group)
        inner = found.get_command(click.Context(found), word)
        if inner is None:
            raise KeyError(command)
        found = inner
    function = found.callback
    assert function is not None
    return f"{function.__module__}:{function.__qualname__}"


def test_node(row: Published) -> str:
    """The test function of a row."""
    path, _, name = row.test.partition("::")
    return f"tests.{path.removesuffix('.py').replace('/', '.')}:{name}"


def sketch_calls(sketch: str, header: str, name: str) -> bool:
    """Whether a sketch, or a header it has from elsewhere, calls ``name`` of ``header``."""
    left, seen = [*(SKETCHES / sketch).glob("*.[hi]*")], set()
    while left:
        path = left.pop()
        if path not in seen:
            seen.add(path)
            included = re.findall(r'#include ["<]([a-z0-9_]+\.h)[">]', path.read_text(encoding="utf-8"))
            left += [found for each in included for found in SKETCHES.glob(f"common/{each}")]
    own = SKETCHES / header
    texts = [path.read_text(encoding="utf-8") for path in seen - {own}]
    return own in seen and any(_calls(text, each) for each in _ways_to(own, name) for text in texts)


def _calls(text: str, name: str) -> bool:
    return re.search(rf"\b{name}[(<]", text) is not None


def _ways_to(header: Path, name: str) -> set[str]:
    """``name``, and each function and class template of the same header that comes to call it."""
    text = header.read_text(encoding="utf-8")
    parts = re.split(r"^(?:inline [\w ]*?(?=\w+\()|class )(\w+)", text, flags=re.MULTILINE)
    bodies = list(zip(parts[1::2], parts[2::2], strict=True))
    ways, before = {name}, set[str]()
    while ways != before:
        before = set(ways)
        ways |= {part for part, body in bodies if any(_calls(body, way) for way in before)}
    return ways


def faults(row: Published) -> list[str]:
    """What keeps a row from proving what a person reads; empty: nothing."""
    said = []
    if row.function.startswith("common/"):
        header, _, name = row.function.partition(":")
        asked = (ROOT / "tests" / "firmware" / "host" / "headers.cpp").read_text(encoding="utf-8")
        if _defined(test_node(row)) is None or f"{name}(" not in asked:
            said.append(f"{row.test} doesn't run through {row.function}")
        if not sketch_calls(row.command, header, name):
            said.append(f"the sketch {row.command} doesn't call {row.function}")
        return said
    if _defined(row.function) is None:
        said.append(f"{row.function} is not there")
    if _defined(test_node(row)) is None:
        said.append(f"{row.test} is not there")
    elif row.function not in reached(test_node(row)):
        said.append(f"{row.test} doesn't run through {row.function}")
    if row.function not in reached(command_node(row.command)):
        said.append(f"'{row.command}' doesn't reach {row.function}")
    return said


def main() -> int:
    """Print the table; 1 where a row proves nothing."""
    broken = 0
    for row in TABLE:
        print(f"{row.id:<8} {row.source}")
        print(f"         tests/{row.test}")
        by = "sketch" if row.function.startswith("common/") else "throwbook"
        print(f"         {row.function}  <-  {by} {row.command}")
        for fault in faults(row):
            broken += 1
            print(f"         NOT SO: {fault}")
    print(f"{len(TABLE)} published checks, {broken} of them prove nothing")
    return 1 if broken else 0


if __name__ == "__main__":
    sys.exit(main())
