"""Which tests stand for which module."""

MODULES = {
    "agents/circuit": (
        *("tyre", "flow", "transistors", "level", "latch", "pulse", "charging", "ignition", "panel", "air"),
        *("stages", "steering", "eye", "pulse_table", "held_pulse"),
    ),
    "arena/engine": ("dragging", "holding"),
    "arena/races": ("ranking",),
    "arena/studies/statistics": (("head_to_head", "comparison", "estimates", "by_factor", "sensitivities")),
    "replays/scoring": ("confidence_intervals", "survival", "scatter", "directions", "turns"),
}
"""The modules that can be tried, by folder."""

_LATCH = "tests/agents/circuit/test_latch.py"
_CHARGING = "tests/agents/circuit/test_charging.py"
_PULSE = "tests/agents/circuit/test_pulse.py"
_TABLE = "tests/agents/circuit/test_pulse_table.py"
_SURVIVAL = "tests/replays/scoring/test_survival.py"
_TURNS = "tests/replays/scoring/test_turns.py"
_CROWDS = "tests/replays/scoring/test_crowds.py"
_STATISTICS = "tests/arena/studies/statistics"

_OTHERS = {
    "agents/circuit/charging.py": (
        "tests/agents/circuit/test_charging_by_hand.py",
        "tests/agents/circuit/test_status.py::test_charging_codes",
        f"{_CHARGING}::test_time_to_reach_a_goal",
        f"{_CHARGING}::test_the_two_ways_of_counting_time_agree",
        f"{_CHARGING}::test_energies_of_a_charging_are_told_alike_in_both_ways_and_add_up",
        f"{_CHARGING}::test_nobody_charges_beyond_rest_and_a_long_wait_ends_there",
        f"{_CHARGING}::test_discharge_of_a_capacitor_through_a_resistor",
        f"{_CHARGING}::test_charge_from_a_source_of_constant_current",
        f"{_CHARGING}::test_current_at_the_kink_of_an_eye_is_continuous",
    ),
    "agents/circuit/ignition.py": (
        "tests/agents/circuit/test_ignition.py::test_ignition_is_the_most_that_a_flash_has_to_give",
        "tests/agents/circuit/test_ignition.py::test_a_flash_from_too_low_does_not_ignite",
        "tests/agents/circuit/test_ignition.py::test_a_flash_has_nothing_to_give_where_the_dark_eye_would_draw_more_than_it_is_fed",
    ),
    "agents/circuit/latch.py": (
        f"{_LATCH}::test_diode_law_of_the_settled_latch",
        f"{_LATCH}::test_a_settled_latch_is_where_the_full_equations_come_to_rest",
        f"{_LATCH}::test_the_strongest_drive_solves_its_equation",
        f"{_LATCH}::test_a_latch_settles_on_a_level_where_its_npn_can_pull",
        f"{_LATCH}::test_the_last_step_to_a_level_goes_along_its_slopes",
        f"{_LATCH}::test_a_latch_on_a_hair_comes_to_an_end",
        f"{_LATCH}::test_a_guess_from_nearby_leads_to_the_same_level",
        "tests/agents/circuit/test_latch_rounds.py",
    ),
    "agents/circuit/pulse.py": (
        "tests/agents/circuit/test_pulse_steps.py",
        f"{_PULSE}::test_latch_resistor[10000.0]",
        f"{_PULSE}::test_latch_resistor_with_the_whisker_pressed[10000.0]",
        f"{_PULSE}::test_a_latch_that_hardly_holds_is_off_by_what_the_docstring_says[220000.0-False-0.05]",
        f"{_PULSE}::test_what_early_effect_and_low_gain_are_worth",
    ),
    "agents/circuit/pulse_table.py": (
        f"{_TABLE}::test_cells_are_evaluated_as_the_library_does",
        f"{_TABLE}::test_a_place_is_told_by_the_cell_in_which_it_lies",
        f"{_TABLE}::test_outcomes_are_weighed_as_a_product_of_matrices",
        f"{_TABLE}::test_what_a_pulse_comes_to_is_what_its_steps_come_to",
        f"{_TABLE}::test_a_pulse_that_does_not_end_soon_or_does_not_move_or_is_lost_comes_to_nothing",
        f"{_TABLE}::test_the_way_within_a_pulse_and_the_moment_of_a_way",
        f"{_TABLE}::test_energies_of_a_pulse_that_was_looked_up_add_up",
        f"{_TABLE}::test_pulses_are_worked_out_one_after_the_other",
    ),
    "agents/circuit/transistors.py": (
        "tests/agents/circuit/test_transistors.py",
        f"{_LATCH}::test_saturated_pnp",
        f"{_LATCH}::test_collector_voltage_of_a_driven_npn",
    ),
    "arena/studies/statistics/comparison.py": (
        f"{_STATISTICS}/test_comparison_by_hand.py",
        f"{_STATISTICS}/test_comparison.py",
    ),
    "arena/studies/statistics/sensitivities.py": (
        f"{_STATISTICS}/test_sensitivities_by_hand.py",
        f"{_STATISTICS}/test_sensitivities.py",
    ),
    "replays/scoring/confidence_intervals.py": (
        _SURVIVAL,
        f"{_CROWDS}::test_several_floors_have_their_mean_and_its_range",
    ),
    "replays/scoring/scatter.py": (
        "tests/replays/scoring/test_scatter_by_hand.py",
        "tests/replays/scoring/test_scatter.py",
    ),
    "replays/scoring/turns.py": (
        f"{_TURNS}::test_turns_of_many_walkers_are_those_of_their_poses",
        f"{_TURNS}::test_turns_of_a_short_pulse_are_summed_from_pose_to_pose",
        f"{_TURNS}::test_a_long_pulse_that_stands_after_a_while_turns_no_further",
        f"{_TURNS}::test_standing_still_and_nobody_at_all_turn_nothing",
        f"{_TURNS}::test_a_pulse_that_is_locked_turns_on_in_its_direction_between_poses_a_fifth_of_a_second_apart",
    ),
    "replays/scoring/directions.py": (_SURVIVAL,),
}


def _stand_for(folder: str, name: str) -> tuple[str, ...]:
    return _OTHERS.get(f"{folder}/{name}.py", (f"tests/{folder}/test_{name}.py",))


TESTS = {
    f"{folder}/{name}.py": _stand_for(folder, name) for folder, names in MODULES.items() for name in names
}
"""The quick tests of each module: those of its own file, where nothing else is told."""
