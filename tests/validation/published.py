"""Published tables that several tests check against."""

import numpy as np

# Shrout & Fleiss 1979, Psychol Bull 86:420: targets by judges.
JUDGES = np.array(
    [[9, 2, 5, 8], [6, 1, 3, 2], [8, 4, 6, 8], [7, 1, 2, 6], [10, 5, 6, 9], [6, 2, 4, 7]],
    dtype=float,
)

# Bland & Altman 1986, Lancet 327:307: peak flow by two meters, twice each.
WRIGHT_1 = np.array(
    [494, 395, 516, 434, 476, 557, 413, 442, 650, 433, 417, 656, 267, 478, 178, 423, 427], float
)
WRIGHT_2 = np.array(
    [490, 397, 512, 401, 470, 611, 415, 431, 638, 429, 420, 633, 275, 492, 165, 372, 421], float
)
MINI_1 = np.array(
    [512, 430, 520, 428, 500, 600, 364, 380, 658, 445, 432, 626, 260, 477, 259, 350, 451], float
)
MINI_2 = np.array(
    [525, 415, 508, 444, 500, 625, 460, 390, 642, 432, 420, 605, 227, 467, 268, 370, 443], float
)

# Bland & Altman 1999, Stat Methods Med Res 8:135 and 2007, J Biopharm Stat 17:571: cardiac output
# of 12 subjects by two methods (RV, IC); as the published results need it, which the printed table
# of 2007 is not.
_CARDIAC = """
7.83,6.57 7.42,5.62 7.89,6.90 7.12,6.57 7.88,6.35
6.16,4.06 7.26,4.29 6.71,4.26 6.54,4.09
4.75,4.71 5.24,5.50 4.86,5.08 4.78,5.02 6.05,6.01 5.42,5.67
4.21,4.14 3.61,4.20 3.72,4.61 3.87,4.68 3.92,5.04
3.13,3.03 2.98,2.86 2.85,2.77 3.17,2.46 3.09,2.32 3.12,2.43
5.92,5.90 6.42,5.81 5.92,5.70 6.27,5.76
7.13,5.09 6.62,4.63 6.58,4.61 6.93,5.09
4.54,4.72 4.81,4.61 5.11,4.36 5.29,4.20 5.39,4.36 5.57,4.20
4.48,3.17 4.92,3.12 3.97,2.96
4.22,4.35 4.65,4.62 4.74,3.16 4.44,3.53 4.50,3.53
6.78,7.20 6.07,6.09 6.52,7.00 6.42,7.10 6.41,7.40 5.76,6.80
5.06,4.50 4.72,4.20 4.90,3.80 4.80,3.80 4.90,4.20 5.10,4.50
"""
_ROWS = [line.split() for line in _CARDIAC.strip().splitlines()]
SUBJECT = np.repeat(np.arange(1, 13), [len(row) for row in _ROWS])
RV, IC = np.array([[float(v) for v in pair.split(",")] for row in _ROWS for pair in row]).T
