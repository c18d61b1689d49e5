"""A printing service in the printer's place, and what is then left of one's own printer."""

import pytest

from moulddesign.core import SpecError
from moulddesign.design import Design, Workshop, free_values, with_workshop
from moulddesign.design.services import Process, service_processes

# ISO 2768-1, class m (medium): permissible deviations of lengths over 6 to 30 mm, and 30 to 120 mm.
CLASS_M_MM = {Process.RESIN: 0.2, Process.POWDER: 0.3}


def service(**printer):
    return Design.of({"printer": {"machine": "service", **printer}})


@pytest.mark.parametrize(("process", "mm"), CLASS_M_MM.items(), ids=str)
def test_a_tolerance_is_that_of_iso_2768_1_class_m(process, mm):
    assert service_processes()[process].tolerance_mm == mm


@pytest.mark.parametrize("process", ["fff", "resin", "powder"])
def test_two_parts_with_all_of_their_tolerance_still_slide(process):
    printer = service(process=process).printer
    tolerance_mm = service_processes()[Process(process)].tolerance_mm
    # A bore too narrow and a stamp too wide by the whole tolerance take half of it on each side.
    left_mm = printer.sliding_gap_mm - 2.0 * tolerance_mm / 2.0
    assert left_mm == pytest.approx(0.1)  # the room that is left to every press


def test_files_for_a_service_are_nominal():
    printer = service(process="powder").printer
    assert (printer.shrink, printer.printed_ratio, printer.slicer_percent) == (0.0, 1.0, 100.0)
    with pytest.raises(SpecError, match=r"shrink = 0\.01: 100 %: the files have"):
        service(process="powder", shrink=0.01)


def test_a_process_belongs_to_a_service():
    with pytest.raises(SpecError, match=r"process = 'resin': goes with the printer service"):
        Design.of({"printer": {"process": "resin"}})
    with pytest.raises(SpecError, match=r"printer\.process = 'laser'"):
        service(process="laser")


def test_what_was_measured_of_ones_own_printer_does_not_tell_of_a_service():
    own = Design.of({"printer": {"print_error_mm": 0.05, "shrink": 0.01, "material": "PLA"}})
    ordered = own.with_values({"printer.machine": "service", "printer.process": "resin"})
    assert (ordered.printer.print_error_mm, ordered.printer.material) == (None, "resin")
    assert ordered.with_values({"printer.process": "powder"}).printer.material == "PA12"
    back = ordered.with_values({"printer.machine": "common-220"})
    assert (back.printer.process, back.printer.material) == (None, "PETG")
    shop = Workshop(print_error_mm=0.1, material="PLA", clearance_mm=0.9, scale_step_g=2.0)
    new = service(process="resin")
    made = with_workshop(new, free_values(shop, new, ()), ())
    assert made.from_workshop == ("scale.resolution_g",)


@pytest.mark.parametrize("process", ["fff", "powder"])
def test_a_file_gives_the_same_printer_again(process):
    made = service(process=process, material="PP")
    again = Design.of(made.plain())
    assert again.printer == made.printer


def test_heights_are_in_layers_where_filament_is_laid():
    # A usual depth is 1.5 mm: 0.2 mm layers make it 1.6 or 1.4, and powder leaves it.
    assert service(process="powder").relief.depth_mm == 1.5
    assert service(process="fff").relief.depth_mm in {1.4, 1.6}
