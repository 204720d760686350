"""Hardness of water, as it is written on strips and reports. Pure.

One German degree (°dH) is the hardness of 10 mg of CaO in a litre (DIN 38409-6, from memory, which also gives
0.1783 mmol/L). Here hardness and alkalinity are in mg/L as CaCO3. Molar masses follow from the standard atomic
weights, abridged (IUPAC 2021, from memory): Ca 40.078, C 12.011, O 15.999.
"""

CAO_MG_L_PER_DEGREE = 10
M_CAO_G_MOL = 40.078 + 15.999
M_CACO3_G_MOL = 40.078 + 12.011 + 3 * 15.999

CACO3_MG_L_PER_DEGREE = CAO_MG_L_PER_DEGREE / M_CAO_G_MOL * M_CACO3_G_MOL
"""What one °dH is in mg/L as CaCO3."""
