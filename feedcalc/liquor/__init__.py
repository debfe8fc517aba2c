"""From ash and water to a diluted feed: steeping, settling, dilution, reactions, readings, and the plan."""
