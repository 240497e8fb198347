"""Facts: profiles read from TOML, and the geometry of cutters, rollers and paper."""
