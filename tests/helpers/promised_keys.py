"""Keys of JSON that other programs may build on."""

POINT_KEYS = {
    "light_lx",
    "fires",
    "trigger_V",
    "trigger_touched_V",
    "charge_s",
    "pulse_s",
    "let_go_V",
    "turn_deg",
    "advance_m",
    "faults",
}
SCORE_KEYS = {
    "design",
    "walkers",
    "reached",
    "reach_share",
    "median_reach_s",
    "progress",
    "light_gain",
    "hardly_moved",
    "directness",
    "median_turn_deg",
    "aim",
    "contacts",
    "escape_share",
    "median_escape_s",
    "stuck_share",
}
