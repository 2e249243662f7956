"""The frame drawing for the customer: what it shows is made here once and written as DXF and as PDF."""
