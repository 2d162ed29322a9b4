"""What must be said before powder is opened: the usual cautions, in our own words.

After the British safety executive's notes on reactive dyes (asthma that stays, dust, wiping wet),
the hazard statements on a reactive dye's data sheet (H317, H334), Broadbent, Basic Principles of
Textile Coloration, p. 338 (mask, gloves, no cooking vessels), and the European dossier on sodium
carbonate (irritates the eyes).
"""

CAUTIONS = (
    (
        "Powder",
        "Reactive dye powder can cause asthma and allergy that stay for life. Wear a dust mask "
        "that fits, open jars only out of draughts and away from fans, lay powder close to the "
        "cloth, and close each jar at once.",
    ),
    (
        "If you wheeze",
        "If your chest tightens, your nose runs or you wheeze, stop, go into fresh air and see a "
        "doctor; say that you worked with reactive dyes.",
    ),
    (
        "Cleaning",
        "Wipe powder up with wet cloths. Never sweep it, brush it or blow it away.",
    ),
    (
        "Soda ash",
        "Soda ash irritates the eyes: wear goggles and gloves, also when you wring the cloth. Eyes "
        "that were splashed are rinsed with running water for a quarter of an hour; then see a "
        "doctor. Add soda to water, not water to soda.",
    ),
    (
        "Skin",
        "Wear gloves from the soak until the last rinse: dye in the melt water fixes on skin too.",
    ),
    (
        "Kitchen",
        "Use no pot, spoon, sieve, freezer box or table that is used for food. Do not eat or drink "
        "where you dye. Ice that lay by dye is never eaten.",
    ),
    ("Others", "Keep children and pets away until all is wiped and rinsed."),
    (
        "Rules",
        "The labels and safety sheets of what you bought, and your local rules, also for waste "
        "water, come first. This sheet predicts colour, not safety.",
    ),
)
"""Heading and text of each."""
