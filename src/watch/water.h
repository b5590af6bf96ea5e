#ifndef KW_WATER_H
#define KW_WATER_H
/*
 * water.h - viscosity and density of water at 0.1 MPa.
 * Source: IAPWS SR6-08(2011), eq. 7 (viscosity) and the density there.
 * degc: 0 to 60 for use here; formulas hold 253.15 K to 383.15 K.
 * NaN for a temperature outside the formulas.
 */
double water_viscosity_pa_s(double degc);
double water_density_kg_m3(double degc);
/* Factor that takes a conductance at degc to 25 degC: (mu/rho) ratio. */
double water_to_25_degc(double degc);
#endif
