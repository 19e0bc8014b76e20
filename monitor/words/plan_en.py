"""English: what a plan says. One whole sentence or two a message key."""

from collections.abc import Mapping
from typing import Final

PLAN_WORDS: Final[Mapping[str, str]] = {
    # Verdicts: never more than the figures say.
    "plan.within_limits": "Within the figures entered; the supervisor decides.",
    "plan.outside_limits": "Outside the figures entered. Change the plan before anything is lifted.",
    "plan.summary": (
        "{lifter}: panel {weight_kg}, rated {rated_at_least_kg}, margin {margin_at_least_kg}, worst pad {pad} at "
        "{use_percent} of its share."
    ),
    # What governs.
    "plan.governs_plate": (
        "The lifter's plate value governs: {rated_at_least_kg} for a panel of {weight_kg}, {margin_at_least_kg} to spare."
    ),
    "plan.governs_basis": (
        "The design factor of {basis} governs at a tilt of {at_tilt_deg}: {rated_at_least_kg} for a panel of {weight_kg}, "
        "{margin_at_least_kg} to spare."
    ),
    "plan.governs_friction": (
        "Friction governs ({surface} surface, {friction_ratio}) at a tilt of {at_tilt_deg}: {rated_at_least_kg} for a panel of "
        "{weight_kg}, {margin_at_least_kg} to spare."
    ),
    "plan.governs_worst_pad": (
        "Pad {pad} governs at a tilt of {at_tilt_deg}: its share allows {rated_at_least_kg} for a panel of {weight_kg}, "
        "{margin_at_least_kg} to spare."
    ),
    # Why it is outside its limits.
    "plan.out_of_balance": (
        "The pads in use cannot balance this panel: its centre of gravity lies outside them. Moving the lifter by "
        "{x_mm} along and {y_mm} up the panel brings it between them."
    ),
    "plan.cannot_balance": (
        "The pads in use cannot balance this panel: its centre of gravity lies outside them, and moving the lifter by "
        "{x_mm} along and {y_mm} up the panel, over it, would bring a pad off the panel. Use other pads."
    ),
    "plan.over": "The panel weighs {weight_at_most_kg}; these figures allow {rated_at_least_kg}.",
    "plan.one_circuit_unsecured": (
        "Only circuit {circuit} holds, and no second restraint is fitted: if it is lost, nothing holds the panel."
    ),
    "plan.lost_falls": "With circuit {circuit} lost, the pads left cannot balance the panel.",
    "plan.lost_too_little": (
        "With circuit {circuit} lost, the pads left hold {factor_at_least_ratio} times the panel; {needed_ratio} times "
        "is needed."
    ),
    "plan.under_warning_level": (
        "Circuit {circuit} reaches {reached_kpa} there at most, under its warning level of {warning_kpa}."
    ),
    "plan.wind_over": (
        "Wind of {wind_m_s} is over the limit of {limit_at_least_m_s} for a panel of this area and weight. The crane's "
        "chart or the site says {chart_m_s}, measured at: {where}."
    ),
    "plan.examination_overdue": "The lifter's thorough examination was due on {due}.",
    # Each circuit.
    "plan.circuit_needs": (
        "Circuit {circuit} needs {needed_at_most_kpa} for this panel, judged at {judged_kpa}. If it is lost, the pads left "
        "hold {factor_at_least_ratio} times the panel."
    ),
    "plan.circuit_cannot": "Circuit {circuit}: no vacuum is enough, because the pads in use cannot balance the panel.",
    # What to heed, and what the figures leave out.
    "plan.plate_not_carried": (
        "At this vacuum the pads hold {computed_at_least_kg} at a tilt of {at_tilt_deg}, less than the plate's {wll_kg}: the "
        "computed figure counts."
    ),
    "plan.move_lifter": (
        "Moving the lifter by {x_mm} along and {y_mm} up the panel would let all pads share alike: {rated_at_least_kg} instead."
    ),
    "plan.friction_listed": (
        "Friction {friction_ratio} for a {surface} surface is a trade-press figure for rubber on glass (dry 0.5, wet 0.2, "
        "oily 0.1), not measured on this panel."
    ),
    "plan.friction_own": "Friction {friction_ratio} for a {surface} surface, by the site file: {source}.",
    "plan.circuit_not_used": "Circuit {circuit} has no pad in use: it must be shut off and holds nothing.",
    "plan.one_circuit": "Only circuit {circuit} is in use: if it is lost, nothing but a restraint holds the panel.",
    "plan.lost_not_held": (
        "With circuit {circuit} lost, the pads left would hold {factor_at_least_ratio} times the panel: it would fall."
    ),
    "plan.weight_differs": "The weight stated is {weight_kg}; size and make-up give {made_kg}. Which one is right?",
    "plan.overhang": (
        "The panel reaches {overhang_mm} beyond its pads, over {limit_mm}: it bends, and the outer pads get more than a "
        "rigid panel gives them. Their shares are taken {factor_ratio} times; ask the panel's maker."
    ),
    "plan.pad_near_edge": "Close to an edge or a cut-out: pads {pads}. The whole seal has to lie on the panel.",
    "plan.holds_outer_pane": (
        "The pads hold only the outer pane; the other panes hang on the unit's edge seal. Ask its maker whether it may "
        "be lifted so."
    ),
    "plan.holds_skin": "The pads hold only the outer skin; ask the panel's maker what its bond carries.",
    "plan.holds_coating": "The pads hold only the coating or film, not the panel under it. Find bare surface, or test.",
    "plan.porous": (
        "Stone and other porous panels let air through: the pumps work all the time and no gauge shows it. Show on this "
        "very panel that with the pumps stopped every circuit still has {reserve_s} in reserve."
    ),
    "plan.depth_not_known": (
        "The panel's thickness was not entered: its pull on the upper pads when tilted is left out."
    ),
    "plan.off_middle": (
        "The centre of gravity entered, {x_mm} along and {y_mm} up from the drawing's origin, is not the middle of the "
        "outline entered. That is right for an uneven panel; where the lifter sits off the middle of an even one, enter the "
        "outline where it lies."
    ),
    "plan.tandem_not_set_up": (
        "The site file does not put this lifter in tandem with another: each screen then shows its own lifter alone."
    ),
    "plan.tandem_whole": (
        "The site file puts this lifter in tandem with {partners}; here it is taken to carry the whole panel alone."
    ),
    "plan.tandem": "In tandem: this lifter is taken to carry {share_ratio} of the panel. The other one's plan counts too.",
    "plan.thin_air": "At {altitude_m} ambient pressure is {ambient_kpa}: the same pumps reach less vacuum.",
    "plan.hoist_takes": "Going up {lift_height_m} takes {takes_kpa} off every circuit without any leak.",
    "plan.over_warning_level": (
        "Judged at {vacuum_kpa}. In the air the warning level of {warning_kpa} counts: less is carried there."
    ),
    "plan.below_warning_level": (
        "Judged at {vacuum_kpa}, under the warning level of {warning_kpa}: the lifter would have to land before that."
    ),
    "plan.wind_no_limit": "The site file has no wind limit: ask for the crane chart's. There is no verdict on wind.",
    "plan.wind_no_area": "Without the panel's size there is no verdict on wind; a large panel has a lower limit.",
    "plan.wind_limit": (
        "Wind limit for this panel {limit_at_least_m_s}; the crane's chart or the site says {chart_m_s}, measured at: {where}."
    ),
    "plan.wind_not_entered": "No wind was entered: the pads are judged in still air.",
    "plan.wind_not_counted": "Without the panel's size the wind's force on the pads is left out.",
    "plan.wind_along_not_counted": "Without the panel's thickness the wind's force along the panel is left out.",
    "plan.wind_is_mean": "Wind is measured as a mean here: its gusts are taken 1.4 times stronger.",
    "plan.dynamic_factor": "The panel counts {factor_ratio} times its weight here, as the site file says.",
    "plan.examination_not_known": "The site file has no date of the next thorough examination.",
    # The pre-lift check list.
    "plan.check_plan_known": "Everyone in the lift knows this plan, and who may stop the lift: anyone.",
    "plan.check_speaker": "One person speaks to the crane operator. Name, channel, what to do when the line is lost.",
    "plan.check_zone": "Keep-clear zone under and around the way of the panel, barriers and a watch in place.",
    "plan.check_set_down": "Set-down places along the way agreed: where can it be landed within minutes?",
    "plan.check_weather": "No rain, frost or ice; wind under the limit, read at: {where}.",
    "plan.check_lifter": "Lifter's plate, examination, chain and hook, battery, pumps, hoses; its own alarm tested.",
    "plan.check_surface": "Panel clean, dry, sound, without cracks; coating, film and protection known.",
    "plan.check_pads": "Pads in use: {pads}. Seals clean and whole, the others shut off.",
    "plan.check_one_lifter": "One lifter, one panel: nothing else on the hook, no second pane stuck to the first.",
    "plan.check_tandem": "Two lifters, one panel: one plan, one voice, both screens watched; the worse call counts.",
    "plan.check_gauge": "Read the lifter's own gauges: every circuit in its working range.",
    "plan.check_seal": (
        "Seal test with the pumps off, {test_s} on this panel: every circuit with at least {reserve_s} in reserve."
    ),
    "plan.check_restraint": "Straps or clamps of the second restraint fitted and tight.",
    "plan.check_trial_lift": "Trial lift: raise it a hand's breadth, hold, watch every circuit; then go on or set down.",
    "plan.check_weight": "Compare the measured load with the plan: heavier means stuck, two panes, or another panel.",
    "plan.check_fixed": "Agree who says that the panel is fixed. No release before that, whatever any screen says.",
}
"""By message key. Placeholders are filled from the message's values in the viewer's units."""
