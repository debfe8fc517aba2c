"""From ash and water to a diluted feed: the plan, its chemistry, and what readings of the liquor tell about the ash."""
