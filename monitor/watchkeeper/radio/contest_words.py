"""Words of contest exchanges: field-day sections, states and provinces.

Codes of the ADIF Specification 3.1.7 (ARRL_Section, and Primary_Administrative_Subdivision of the United States and
Canada), in the standard's order. The numbers that the protocol gives them are not at hand, so a number tells only
whether it is one of the list, not which.
"""

from __future__ import annotations

_SECTIONS = """
AL AK AB AR AZ BC CO CT DE EB EMA ENY EPA EWA GA GH ID IL IN IA KS KY LAX LA ME MB MDC MI MN MS MO MT NE NV NB
NH NM NLI NL NC ND NTX NFL NNJ NNY NS OH OK ONE ONN ONS ORG OR PAC PE PR QC RI SV SDG SF SJV SB SCV SK SC SD
STX SFL SNJ TN TER VI UT VT VA WCF WTX WV WMA WNY WPA WWA WI WY DX
"""
_REGIONS = """
AK AL AR AZ CA CO CT DC DE FL GA HI IA ID IL IN KS KY LA MA MD ME MI MN MO MS MT NC ND NE NH NJ NM NV NY OH OK
OR PA RI SC SD TN TX UT VA VT WA WI WV WY NS QC ON MB SK AB BC NT NB NL YT PE NU
"""

SECTIONS: tuple[str, ...] = tuple(_SECTIONS.split())
REGIONS: tuple[str, ...] = tuple(_REGIONS.split())
