"""Models of what stands between a satellite and a vehicle: trees, buildings, roofs, weather, two paths at once.

Each module says which recommendation, textbook or judgement a formula comes from and where it holds. Outside that a
model raises `OutsideDomain`; nothing is carried further without a word. No text of a Recommendation itself was read:
the formulae are as open implementations that name the Recommendation give them.
"""
