"""Maps, sheets and exports: what people hold in their hands.

May import `estate` and `layers`, never `estate.app`.
"""
