"""Can it be bent, and how: limits, marks, springback, rehearsal, changeovers, cut plan."""
