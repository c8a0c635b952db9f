"""Published sources of the statistics, and which of them a study has used."""

from typing import Final

from imuproc.agreement.study import StudyResult

SOURCES: Final[dict[str, str]] = {
    "bland-1986": "Bland JM, Altman DG. Statistical methods for assessing agreement between two "
    "methods of clinical measurement. Lancet 1986;327:307-310.",
    "bland-1999": "Bland JM, Altman DG. Measuring agreement in method comparison studies. Stat "
    "Methods Med Res 1999;8:135-160.",
    "bland-2007": "Bland JM, Altman DG. Agreement between methods of measurement with multiple "
    "observations per individual. J Biopharm Stat 2007;17:571-582.",
    "zou-2013": "Zou GY. Confidence interval estimation for the Bland-Altman limits of agreement "
    "with multiple observations per individual. Stat Methods Med Res 2013;22:630-642.",
    "carkeet-2015": "Carkeet A. Exact parametric confidence intervals for Bland-Altman limits of "
    "agreement. Optom Vis Sci 2015;92:e71-e80.",
    "shrout-1979": "Shrout PE, Fleiss JL. Intraclass correlations: uses in assessing rater "
    "reliability. Psychol Bull 1979;86:420-428.",
    "mcgraw-1996": "McGraw KO, Wong SP. Forming inferences about some intraclass correlation "
    "coefficients. Psychol Methods 1996;1:30-46.",
    "lin-1989": "Lin LI-K. A concordance correlation coefficient to evaluate reproducibility. "
    "Biometrics 1989;45:255-268.",
    "hopkins-2000": "Hopkins WG. Measures of reliability in sports medicine and science. Sports "
    "Med 2000;30:1-15.",
    "wilson-1927": "Wilson EB. Probable inference, the law of succession, and statistical "
    "inference. J Am Stat Assoc 1927;22:209-212.",
    "jcgm-2008": "JCGM 100:2008. Evaluation of measurement data: Guide to the expression of "
    "uncertainty in measurement. Joint Committee for Guides in Metrology, 2008.",
}


class Cited:
    """Numbers of sources in the order in which a text first names them.

    Parameters
    ----------
    allowed : frozenset of str
        Keys of :data:`SOURCES` that may be named.
    """

    def __init__(self, allowed: frozenset[str]) -> None:
        self._allowed = allowed
        self.order: list[str] = []

    def is_used(self, key: str) -> bool:
        """Whether the tables rest on a source."""
        return key in self._allowed

    def __call__(self, *keys: str) -> str:
        """Numbers in brackets, with a space before them."""
        for key in keys:
            if key not in self.order:
                self.order.append(key)
        numbers = ", ".join(str(self.order.index(key) + 1) for key in keys)
        return f" [{numbers}]"


def used_sources(result: StudyResult) -> list[str]:
    """Keys of the sources that the tables of a study rest on."""
    if result.agreement is None:
        return []
    table = result.agreement.agreement
    method = " ".join(table["method"].astype(str))
    holds = {
        "jcgm-2008": bool(table["resolution_sd"].notna().any() or table["within_2u"].notna().any()),
        "bland-1986": "independent" in method,
        "carkeet-2015": "exact" in method,
        "bland-2007": "2007" in method,
        "zou-2013": "MOVER" in method,
        "bland-1999": bool(table["slope"].notna().any()),
        "shrout-1979": bool(table["icc"].notna().any()),
        "mcgraw-1996": bool(table["icc"].notna().any()),
        "lin-1989": bool(table["ccc"].notna().any()),
        "hopkins-2000": bool(table["typical_error"].notna().any()),
        "wilson-1927": bool(result.agreement.detection["found"].notna().any()),
    }
    return [key for key, used in holds.items() if used]
