"""What leaves the house: a job in other people's forms, the bundle for customer, provider and dealer, and on paper.

Everything here is made from a job and its findings; the identifier of the receiver is masked unless asked for.
"""
