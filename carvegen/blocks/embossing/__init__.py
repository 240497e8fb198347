"""Dies that press shapes into paper, their counter-sheets, and what the paper bears."""
