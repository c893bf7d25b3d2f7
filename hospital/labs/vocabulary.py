"""What is offered while a result is typed. Names are the trade's (common practice, no source); units are written as UCUM prints them.

No ranges are shipped: none of our references gives any with a source. The range that the laboratory prints is typed with its result.
"""

# name → unit
BLOOD = {
    "Packed cell volume": "%", "Total protein": "g/L", "White cells": "10⁹/L", "Heterophils": "%", "Lymphocytes": "%", "Monocytes": "%",
    "Eosinophils": "%", "Basophils": "%", "Glucose": "mmol/L", "Uric acid": "µmol/L", "Urea": "mmol/L", "Calcium": "mmol/L",
    "Phosphate": "mmol/L", "AST": "U/L", "CK": "U/L", "Bile acids": "µmol/L", "Sodium": "mmol/L", "Potassium": "mmol/L", "Lead": "µg/dL",
}  # fmt: skip
FAECES = [
    "Roundworm eggs", "Hairworm eggs", "Gapeworm eggs", "Tapeworm eggs", "Fluke eggs", "Lungworm larvae", "Coccidia", "Flagellates",
    "Ciliates", "Yeasts",
]  # fmt: skip
AMOUNTS = ["none", "few", "some", "many", "no growth", "light growth", "heavy growth", "positive", "negative"]
UNITS = sorted({*BLOOD.values(), "g/dL", "mg/dL", "10¹²/L", "mm/h", "/g", "µg/L", "mg/L"})
