"""How far the step table and a reference agree: clocks, matching, statistics of agreement."""
