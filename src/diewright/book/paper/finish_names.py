"""What the stated fields of the finish are called on paper, by the sheet on which they stand; the same words as on the screen."""

from __future__ import annotations

SURFACE = {
    "service": "Service condition", "base": "Base metal", "chromium": "Chromium", "nickel_um": "Least local nickel", "chromium_um": "Least local chromium", "significant": "Faces that count", "significant_points": "Points on faces that count",
    "side": "Side that is shown", "ball_mm": "Ball that must touch", "start_ra_um": "Ra of the rolled sheet", "grain_um": "Grain of the sheet", "peel_factor": "Orange peel, grains a strain", "scratch_um": "Depth of drawing scratches", "slide_mm": "Slide that scratches",
    "polish_ra_um": "Ra wanted before plating", "grits": "Grits in their order", "buff": "After the last grit", "least_thickness": "Least sheet after polishing", "wheel_mm": "Diameter of the wheel", "wheel_width": "Width of the wheel", "wheel_rpm_most": "Speed marked on the wheel",
    "rate_cm2_min": "Polished a minute, from to", "wheel_life_m2": "A wheel lasts for, from to",
}  # fmt: skip
RACK = {
    "current_density": "Highest mean current density", "facing": "Looks at the anodes", "up": "Hangs upwards", "spacing": "Gap between parts", "rack_width": "Room across the rack", "rack_height": "Room down the rack", "rack_kg": "Weight of the empty rack",
    "rack_load_kg": "Rack and parts at most", "tank_depth": "Depth of the bath", "cover_mm": "Bath over the top part", "spine_mm2": "Section of the spine", "spine_a_mm2": "Current a spine bears", "hook_a": "Current a contact bears", "rectifier_a": "Current of the rectifier",
    "plan_points": "Places to measure a side", "readings_file": "Thickness readings, CSV", "coulometric_pct": "Uncertainty, coulometric", "xrf_pct": "Uncertainty, X-ray", "bath_log_file": "Baths' book, CSV", "nickel_g_l": "Nickel in the bath", "chromic_g_l": "Chromic acid in the bath",
    "brightener_ml_kah": "Brightener used by the current", "brightener_ml_l": "Brightener in the bath", "drag_out_ml_m2": "Bath carried out", "cost_chromium_vi": "Your rate, nickel and chromium(VI)", "cost_chromium_iii": "Your rate, nickel and chromium(III)",
    "cost_zinc_nickel": "Your rate, zinc-nickel and paint", "cost_powder": "Your rate, powder coating", "cost_stainless": "Your rate, polished stainless",
}  # fmt: skip
