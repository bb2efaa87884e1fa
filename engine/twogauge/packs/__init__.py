"""Rule packs: folders of rules, faults, gates and checks, read as data and never run."""
