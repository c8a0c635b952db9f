"""Arrays in, arrays out: signal processing that knows nothing of running.

- ``allan``: Overlapping Allan deviation of a rate signal, and what IEEE Std 952-1997, Annex C,
  reads off it.
- ``bridging``: Gaps bridged by a straight line: where they are, and how wrong their integral may
  be.
- ``butterworth``: A second-order Butterworth low-pass run over samples, without a loop over them.
- ``correlation``: Sums of products of two signals at every shift, by Fourier transform.
- ``crossings``: Sub-sample times of level crossings.
- ``easing``: A smooth way from one value to another.
- ``filters``: Zero-phase low-pass, derivative, smoothing and moving statistics, all along axis 0.
- ``force``: Contacts from the vertical force of a plate: a threshold above the local zero,
  sub-sample.
- ``integration``: Integration of sampled rates and accelerations without a loop over samples.
- ``mask_runs``: Runs of a mask: samples in a row that share a mark.
- ``medians``: Medians of a few values, in a fraction of the time that ``numpy.median`` spends
  around them.
- ``peaks``: Peaks of a signal that are high enough and far enough from higher ones.
- ``resampling``: Signals with uneven stamps onto a regular grid, without hiding what was not
  measured.
- ``rotations``: Rotations as unit quaternions (w, x, y, z) and rotation vectors, vectorised over
  samples.
"""
